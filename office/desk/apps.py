from django.apps import AppConfig


class DeskConfig(AppConfig):
    name = "office.desk"
    label = "desk"
    verbose_name = "the desk"
