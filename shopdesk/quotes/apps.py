from django.apps import AppConfig


class QuotesConfig(AppConfig):
    name = "shopdesk.quotes"

    def ready(self) -> None:
        from shopdesk.base import sweep
        from shopdesk.commissions import reminders
        from shopdesk.quotes.reminders import RUNS_OUT
        from shopdesk.quotes.signed import keep_hashes

        reminders.register(RUNS_OUT)
        sweep.register("shopdesk.quotes.keep-hashes", keep_hashes)
