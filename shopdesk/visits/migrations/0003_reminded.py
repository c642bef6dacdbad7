"""Which visits were reminded of stands with all other reminders from now on."""

from typing import Any

from django.db import migrations
from django.db.models import F


def keep(apps: Any, schema_editor: Any) -> None:
    """One row for each that was reminded of as it stands, or needs no reminder, under the name of its
    occasion (`visits.reminders`)."""
    visit, reminded = apps.get_model("visits", "Visit"), apps.get_model("commissions", "Reminded")
    reminded.objects.bulk_create(
        reminded(
            commission_id=one.commission_id,
            kind="visit-reminder",
            occasion=f"{one.pk}.{one.sequence} before",
        )
        for one in visit.objects.filter(reminded_for=F("starts_at"))
    )


class Migration(migrations.Migration):
    dependencies = [
        ("visits", "0002_site_visits"),
        ("commissions", "0002_conversation_and_mail"),
    ]

    operations = [migrations.RunPython(keep, migrations.RunPython.noop)]
