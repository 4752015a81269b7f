"""The form of the finished leaf."""

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models

FORMS = ["rolled", "twisted", "needle", "flat", "broken", "compressed", "powder", ""]


class Migration(migrations.Migration):
    dependencies = [("lots", "0004_author_filled")]

    operations = [
        migrations.AddField(
            "lot", "form", models.CharField(blank=True, default="", max_length=10), preserve_default=False
        ),
        AddConstraintNotValid(
            "lot", models.CheckConstraint(condition=models.Q(("form__in", FORMS)), name="lot_form_choice")
        ),
    ]
