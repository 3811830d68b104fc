from django.apps import AppConfig


class PolicyConfig(AppConfig):
    name = "office.policy"
    label = "policy"
    verbose_name = "the office's policy"
