from django.apps import AppConfig


class AuditConfig(AppConfig):
    name = "office.audit"
    label = "audit"
    verbose_name = "the trail"
