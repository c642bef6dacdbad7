from django.apps import AppConfig


class CommissionsConfig(AppConfig):
    name = "shopdesk.commissions"

    def ready(self) -> None:
        from shopdesk.clients.access import register_pick
        from shopdesk.commissions.queries import owner_among

        register_pick(owner_among)
