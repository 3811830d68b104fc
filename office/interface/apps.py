from django.apps import AppConfig


class InterfaceConfig(AppConfig):
    name = "office.interface"
    label = "interface"
    verbose_name = "the interface for other systems"
