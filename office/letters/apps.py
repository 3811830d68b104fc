from django.apps import AppConfig


class LettersConfig(AppConfig):
    name = "office.letters"
    label = "letters"
    verbose_name = "Letters"
