from django.apps import AppConfig


class ColoursConfig(AppConfig):
    name = "shopdesk.colours"
