from django.apps import AppConfig


class PricebookConfig(AppConfig):
    name = "shopdesk.pricebook"
