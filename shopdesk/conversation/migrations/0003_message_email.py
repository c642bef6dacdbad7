import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("conversation", "0002_conversation_and_mail"),
        ("mail", "0002_conversation_and_mail"),
    ]

    operations = [
        migrations.AddField(
            model_name="message",
            name="email",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="+",
                to="mail.email",
            ),
        ),
    ]
