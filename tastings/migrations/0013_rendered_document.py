"""A rendered document is called so in Python; table, columns and constraints keep their names."""

from django.db import migrations, models


class Migration(migrations.Migration):
    """Changes no table."""

    dependencies = [("tastings", "0012_removed")]
    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.RenameModel(old_name="Paper", new_name="RenderedDocument"),
                migrations.AlterModelTable(name="rendereddocument", table="tastings_paper"),
                migrations.RenameField(model_name="rendereddocument", old_name="told", new_name="payload"),
                migrations.AlterField(
                    model_name="rendereddocument",
                    name="payload",
                    field=models.JSONField(db_column="told", null=True),
                ),
            ]
        )
    ]
