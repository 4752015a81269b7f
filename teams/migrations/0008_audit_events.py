"""The column ``what`` takes any event: teams and tastings each declare their own."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("teams", "0007_language")]

    operations = [
        migrations.AlterField(model_name="auditentry", name="what", field=models.CharField(max_length=24)),
    ]
