from django.apps import AppConfig


class CertificatesConfig(AppConfig):
    name = "office.certificates"
    label = "certificates"
    verbose_name = "certificates"
