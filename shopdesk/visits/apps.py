from django.apps import AppConfig


class VisitsConfig(AppConfig):
    name = "shopdesk.visits"

    def ready(self) -> None:
        from shopdesk.base import sweep
        from shopdesk.visits.actions import look_after
        from shopdesk.visits.said import register_fields

        sweep.register("shopdesk.visits.remind", look_after)
        register_fields()
