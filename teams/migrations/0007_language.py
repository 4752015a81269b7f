from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("teams", "0006_email_index")]

    operations = [
        migrations.AddField(
            model_name="user",
            name="language",
            field=models.CharField(blank=True, db_default="", default="", max_length=8),
        ),
        migrations.AddField(
            model_name="resetrequest",
            name="language",
            field=models.CharField(db_default="", default="", max_length=8),
        ),
    ]
