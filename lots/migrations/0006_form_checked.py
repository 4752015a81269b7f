"""Checks the lots that are there, while everyone goes on writing."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("lots", "0005_form")]

    operations = [ValidateConstraint("lot", "lot_form_choice")]
