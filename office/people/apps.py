from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "office.people"
    label = "people"
    verbose_name = "people"

    def ready(self) -> None:
        from office.people import signals  # noqa: PLC0415  (models are there only now)

        signals.connect()
