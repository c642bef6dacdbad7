from django.apps import AppConfig


class DepositsConfig(AppConfig):
    name = "shopdesk.deposits"

    def ready(self) -> None:
        from shopdesk.deposits.said import register_fields

        register_fields()
