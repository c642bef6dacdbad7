from django.apps import AppConfig


class VisitsConfig(AppConfig):
    name = "shopdesk.visits"
