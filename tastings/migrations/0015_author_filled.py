"""Fills in who made each infusion, note and descriptor; see the lots' migration of the same name."""

from importlib import import_module

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.db.models import Q

lots = import_module("lots.migrations.0004_author_filled")


class Migration(migrations.Migration):
    """Each statement is a transaction."""

    atomic = False
    dependencies = [("tastings", "0014_author"), ("lots", "0004_author_filled")]

    operations = [
        *(
            migrations.RunSQL(lots.fill(f"tastings_{name}"), migrations.RunSQL.noop)
            for name in ("infusion", "note", "descriptor")
        ),
        *(
            migrations.RunSQL(
                lots.require(f"tastings_{name}"),
                lots.no_longer_require(f"tastings_{name}"),
                state_operations=[
                    migrations.AlterField(
                        model_name=name,
                        name="author",
                        field=models.ForeignKey(
                            db_index=False,
                            on_delete=django.db.models.deletion.PROTECT,
                            related_name="+",
                            to=settings.AUTH_USER_MODEL,
                        ),
                    )
                ],
            )
            for name in ("infusion", "note")
        ),
        migrations.RemoveConstraint(model_name="descriptor", name="descriptor_has_author"),
        migrations.AddConstraint(
            model_name="descriptor",
            constraint=models.CheckConstraint(
                condition=Q(team=None, by=None, author=None)
                | Q(team__isnull=False, by__isnull=False, author__isnull=False),
                name="descriptor_has_author",
            ),
        ),
    ]
