"""What may be recorded is said by the rooms that record it; the column takes any of it, as before."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("teams", "0007_language")]

    operations = [
        migrations.AlterField(model_name="auditentry", name="what", field=models.CharField(max_length=24)),
    ]
