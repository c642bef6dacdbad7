from django.apps import AppConfig


class ConversationConfig(AppConfig):
    name = "shopdesk.conversation"

    def ready(self) -> None:
        from shopdesk.base import sweep
        from shopdesk.conversation.post import place_all
        from shopdesk.mail.arrivals import TASK

        sweep.register(TASK, place_all)
