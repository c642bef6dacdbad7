from django.apps import AppConfig


class BallparkConfig(AppConfig):
    name = "shopdesk.ballpark"
