from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("quotes", "0004_reminded")]

    operations = [migrations.RemoveField(model_name="quote", name="reminded_at")]
