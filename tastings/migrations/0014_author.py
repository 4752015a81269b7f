"""Who made an infusion, a note or a descriptor, beside who edited it last; filled by the next migration.

Who made a session is its taster.
"""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("tastings", "0013_rendered_document"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name=name,
            name="author",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        )
        for name in ("infusion", "note", "descriptor")
    ]
