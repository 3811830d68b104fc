from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "office.people"
    label = "people"
    verbose_name = "people"
