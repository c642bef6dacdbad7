from django.apps import AppConfig


class ConversationConfig(AppConfig):
    name = "shopdesk.conversation"
