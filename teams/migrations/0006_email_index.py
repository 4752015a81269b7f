"""Built beside the writers: a table of logins is not held while it takes its time."""

from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations, models
from django.db.models import Q
from django.db.models.functions import Upper


class Migration(migrations.Migration):
    atomic = False

    dependencies = [("teams", "0005_passwords")]

    operations = [
        AddIndexConcurrently(
            model_name="user",
            index=models.Index(Upper("email"), condition=~Q(email=""), name="user_by_email"),
        ),
    ]
