from django.apps import AppConfig
from django.utils.module_loading import autodiscover_modules


class WorkConfig(AppConfig):
    name = "office.work"
    label = "work"
    verbose_name = "Long work"

    def ready(self) -> None:
        autodiscover_modules("long_work")  # where each app registers its kinds
