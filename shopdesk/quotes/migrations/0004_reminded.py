"""Which quotes were reminded of stands with all other reminders from now on."""

from typing import Any

from django.db import migrations


def keep(apps: Any, schema_editor: Any) -> None:
    """One row for each that was reminded of, under the name of its occasion (`quotes.reminders`)."""
    quote, reminded = apps.get_model("quotes", "Quote"), apps.get_model("commissions", "Reminded")
    reminded.objects.bulk_create(
        reminded(
            commission_id=one.commission_id,
            kind="quote-expiring",
            occasion=f"{one.pk} before",
            at=one.reminded_at,
        )
        for one in quote.objects.filter(reminded_at__isnull=False).only("commission_id", "reminded_at")
    )


class Migration(migrations.Migration):
    dependencies = [
        ("quotes", "0003_estimates_and_choices"),
        ("commissions", "0002_conversation_and_mail"),
    ]

    operations = [migrations.RunPython(keep, migrations.RunPython.noop)]
