from django.apps import AppConfig


class BenchConfig(AppConfig):
    name = "shopdesk.bench"

    def ready(self) -> None:
        from shopdesk.bench.reminders import SETTLING_IN
        from shopdesk.commissions import reminders

        reminders.register(SETTLING_IN)
