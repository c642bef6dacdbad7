from django.apps import AppConfig


class ShopConfig(AppConfig):
    name = "shopdesk.shop"

    def ready(self) -> None:
        from shopdesk.mail import holding
        from shopdesk.shop.queries import quiet_hours

        holding.register_hours(quiet_hours)
