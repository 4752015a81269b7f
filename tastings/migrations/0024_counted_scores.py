"""What counts of a flight's scores, frozen by its reveal."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("tastings", "0023_own_rows")]

    operations = [migrations.AddField(model_name="flight", name="counted", field=models.JSONField(null=True))]
