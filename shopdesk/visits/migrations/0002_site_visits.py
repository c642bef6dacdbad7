import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("commissions", "0001_initial"),
        ("visits", "0001_initial"),
    ]

    operations = [
        migrations.AlterField(
            model_name="visit",
            name="kind",
            field=models.CharField(
                choices=[("drop-off", "drop-off"), ("pickup", "pickup"), ("site-visit", "site visit")],
                max_length=10,
            ),
        ),
        migrations.CreateModel(
            name="Offer",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("made_at", models.DateTimeField(default=django.utils.timezone.now)),
                (
                    "commission",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to="commissions.commission"
                    ),
                ),
            ],
        ),
    ]
