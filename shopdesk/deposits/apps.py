from django.apps import AppConfig


class DepositsConfig(AppConfig):
    name = "shopdesk.deposits"
