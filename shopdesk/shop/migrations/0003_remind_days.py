from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("shop", "0002_bank_and_vat"),
    ]

    operations = [
        migrations.AddField(
            model_name="shop",
            name="remind_days",
            field=models.PositiveSmallIntegerField(default=3),
        ),
    ]
