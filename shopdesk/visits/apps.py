from django.apps import AppConfig


class VisitsConfig(AppConfig):
    name = "shopdesk.visits"

    def ready(self) -> None:
        from shopdesk.base import sweep
        from shopdesk.commissions import reminders
        from shopdesk.visits.actions import look_after
        from shopdesk.visits.reminders import PICKUP_WAITING, VISIT_REMINDER
        from shopdesk.visits.said import register_fields

        sweep.register("shopdesk.visits.look-after", look_after)
        reminders.register(VISIT_REMINDER)
        reminders.register(PICKUP_WAITING)
        register_fields()
