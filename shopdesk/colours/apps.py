from django.apps import AppConfig


class ColoursConfig(AppConfig):
    name = "shopdesk.colours"

    def ready(self) -> None:
        from shopdesk.colours.reminders import SAMPLE_WAITING
        from shopdesk.commissions import reminders

        reminders.register(SAMPLE_WAITING)
