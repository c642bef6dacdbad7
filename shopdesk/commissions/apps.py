from django.apps import AppConfig


class CommissionsConfig(AppConfig):
    name = "shopdesk.commissions"

    def ready(self) -> None:
        from shopdesk.base import sweep
        from shopdesk.clients.access import register_pick
        from shopdesk.commissions.queries import owner_among
        from shopdesk.commissions.reminders import TASK, write_due
        from shopdesk.commissions.switches import ask_before_sending

        register_pick(owner_among)
        sweep.register(TASK, write_due)
        ask_before_sending()
