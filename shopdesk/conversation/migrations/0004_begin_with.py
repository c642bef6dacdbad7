"""What a client had written and was answered has been seen; and a few quick answers to begin with.

On its own: PostgreSQL changes no table in a transaction that has changed its rows."""

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.models import F

ANSWERS = {
    "Got it": "Thank you, {name}. We have your message and answer it properly by tomorrow evening.",
    "More pictures": (
        "Could you send us a few more pictures of the {pieces}: the front, the inside of a drawer, and whatever "
        "is damaged? In daylight, and without flash. The sizes help as well."
    ),
    "When it starts": "The place for your {pieces} is booked. Work can start {start_date}.",
    "When it is ready": (
        "Your {pieces} should be ready about {ready_date}. Most of the days until then are waiting for "
        "something to dry. We write as soon as it is."
    ),
    "The deposit": (
        "{deposit} of the deposit is still open, due {deposit_due}. It books your place in the queue, and is "
        "part of the price."
    ),
    "What is still due": "{due} is still to pay for {number}. By transfer before, or when we hand it over.",
    "Your time": "We see you on {slot}. If anything comes up, write here or call {shop_phone}.",
}


def begin(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    alias = schema_editor.connection.alias
    messages = apps.get_model("conversation", "Message").objects.using(alias)
    messages.filter(by_client=True, seen_at=None).update(seen_at=F("answered_at"))
    answers = apps.get_model("conversation", "QuickAnswer").objects.using(alias)
    for title, text in ANSWERS.items():
        answers.get_or_create(title=title, defaults={"text": text})


class Migration(migrations.Migration):
    dependencies = [("conversation", "0003_message_email")]

    operations = [migrations.RunPython(begin, migrations.RunPython.noop)]
