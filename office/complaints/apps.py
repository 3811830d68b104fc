from django.apps import AppConfig


class ComplaintsConfig(AppConfig):
    name = "office.complaints"
    label = "complaints"
    verbose_name = "complaints and non-conforming work"
