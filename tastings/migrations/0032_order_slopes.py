"""What a lot's ratings say about the order of its cups, and what its team learns from that."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("tastings", "0031_triangle_tasters")]

    operations = [
        migrations.AddField("development", "slope_evidence", models.JSONField(default=dict)),
        migrations.AddField("teampanel", "slopes", models.JSONField(default=dict)),
    ]
