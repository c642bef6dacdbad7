"""How everything looks: style sheet, small modules, form templates, and how money and days are written."""

from django.apps import AppConfig
from django.forms import Field


class Look(AppConfig):
    name = "shopdesk.look"
    label = "look"

    def ready(self) -> None:
        # Every form says it in the shop's voice, without each field having to.
        Field.default_error_messages = {**Field.default_error_messages, "required": "Please fill this in."}
