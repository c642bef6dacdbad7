from django.apps import AppConfig


class IntakeConfig(AppConfig):
    name = "shopdesk.intake"

    def ready(self) -> None:
        from shopdesk.base import sweep
        from shopdesk.intake import actions

        sweep.register("shopdesk.intake.forget", actions.forget_old_drafts)
