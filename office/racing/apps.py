from django.apps import AppConfig


class RacingConfig(AppConfig):
    name = "office.racing"
    label = "racing"
    verbose_name = "race committees"
