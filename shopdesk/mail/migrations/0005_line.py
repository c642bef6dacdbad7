import django.db.models.deletion
from django.db import migrations, models


def what_waits_for_bytes(apps, schema_editor):
    missing = apps.get_model("mail", "Enclosure").objects.filter(ready=False)
    apps.get_model("mail", "Email").objects.filter(
        way="email", state="waiting", pk__in=missing.values("email")
    ).update(complete=False)


class Migration(migrations.Migration):
    dependencies = [("mail", "0004_where_a_mailbox_is_read_from")]

    operations = [
        migrations.CreateModel(
            name="Turn",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("address", models.CharField(max_length=254)),
                ("day", models.DateField()),
            ],
        ),
        migrations.AddField("email", "complete", models.BooleanField(default=True)),
        migrations.AddField("email", "held_at", models.DateTimeField(null=True)),
        migrations.AddField("email", "put_off_since", models.DateTimeField(null=True)),
        migrations.AddIndex(
            model_name="email",
            index=models.Index(
                condition=models.Q(
                    ("bundle__isnull", True), ("complete", True), ("state", "waiting"), ("way", "email")
                ),
                fields=["can_wait", "due_at", "id"],
                name="mail_email_line",
            ),
        ),
        migrations.AddIndex(
            model_name="email",
            index=models.Index(
                condition=models.Q(("complete", False)), fields=["id"], name="mail_email_incomplete"
            ),
        ),
        migrations.AddField(
            model_name="turn",
            name="email",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.CASCADE, related_name="turn", to="mail.email"
            ),
        ),
        migrations.AddConstraint(
            model_name="turn",
            constraint=models.UniqueConstraint(fields=("address", "day"), name="one_email_a_day"),
        ),
        migrations.RunPython(what_waits_for_bytes, migrations.RunPython.noop),
    ]
