from django.apps import AppConfig


class ConversationConfig(AppConfig):
    name = "shopdesk.conversation"

    def ready(self) -> None:
        from shopdesk.base import sweep
        from shopdesk.conversation import post

        sweep.register(post.TASK, post.place_all)
