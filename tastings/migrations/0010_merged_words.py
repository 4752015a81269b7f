"""What a removed word was merged into."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("tastings", "0008_shares")]

    operations = [
        migrations.AddField(
            model_name="descriptor",
            name="merged_into",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="tastings.descriptor",
            ),
        ),
    ]
