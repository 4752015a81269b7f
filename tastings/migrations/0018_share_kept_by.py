"""Who kept a link after its giver could no longer give any."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("tastings", "0017_waiting"), ("teams", "0001_records")]

    operations = [
        migrations.AddField(
            model_name="share",
            name="kept_by",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
    ]
