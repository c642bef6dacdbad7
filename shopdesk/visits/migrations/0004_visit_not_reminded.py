from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("visits", "0003_reminded")]

    operations = [migrations.RemoveField(model_name="visit", name="reminded_for")]
