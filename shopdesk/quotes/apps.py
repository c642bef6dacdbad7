from django.apps import AppConfig


class QuotesConfig(AppConfig):
    name = "shopdesk.quotes"

    def ready(self) -> None:
        from shopdesk.base import sweep
        from shopdesk.quotes.expiry import look_after
        from shopdesk.quotes.signed import keep_hashes

        sweep.register("shopdesk.quotes.remind", look_after)
        sweep.register("shopdesk.quotes.keep-hashes", keep_hashes)
