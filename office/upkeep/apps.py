from django.apps import AppConfig

from office.upkeep import checks


class UpkeepConfig(AppConfig):
    name = "office.upkeep"
    label = "upkeep"
    verbose_name = "Upkeep"

    def ready(self) -> None:
        checks.register_all()
