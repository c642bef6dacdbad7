from django.apps import AppConfig
from django.db.models.signals import post_migrate


class BaseConfig(AppConfig):
    name = "shopdesk.base"

    def ready(self) -> None:
        from shopdesk.base import sweep
        from shopdesk.base.appendonly import guard_tables
        from shopdesk.base.forgetting import FORGET, forget_now_and_then

        sweep.register(FORGET, forget_now_and_then)
        post_migrate.connect(guard_tables, dispatch_uid="append-only")
