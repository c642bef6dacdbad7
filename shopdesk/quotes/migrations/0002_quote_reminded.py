from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("quotes", "0001_initial"),
    ]

    operations = [
        migrations.AddField(
            model_name="quote",
            name="reminded_at",
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name="quote",
            name="followed_up_at",
            field=models.DateTimeField(null=True),
        ),
    ]
