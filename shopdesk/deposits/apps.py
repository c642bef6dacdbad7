from django.apps import AppConfig


class DepositsConfig(AppConfig):
    name = "shopdesk.deposits"

    def ready(self) -> None:
        from shopdesk.commissions import reminders
        from shopdesk.deposits.reminders import BALANCE_DUE, DEPOSIT_DUE
        from shopdesk.deposits.said import register_fields

        reminders.register(DEPOSIT_DUE)
        reminders.register(BALANCE_DUE)
        register_fields()
