"""Notes of words alone, without a descriptor; infusions whose kettle was not read."""

import django.db.models.deletion
from django.db import migrations, models

OF_TEAM = """
    CREATE OR REPLACE FUNCTION tastings_note_word_of_team() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        IF %sNOT EXISTS (SELECT FROM tastings_descriptor AS word
                       WHERE word.id = NEW.descriptor_id
                         AND (word.team_id IS NULL OR word.team_id = NEW.team_id)) THEN
            RAISE EXCEPTION 'the descriptor of note %% is not of its team', NEW.id
                USING ERRCODE = 'foreign_key_violation', CONSTRAINT = 'note_word_of_team';
        END IF;
        RETURN NULL;
    END $$;
"""


class Migration(migrations.Migration):
    dependencies = [("tastings", "0021_waiting_pots")]

    operations = [
        migrations.AlterField("infusion", "kettle_c", models.FloatField(null=True)),
        # only the column changes: Django would drop the foreign key and check every note when it adds it again
        migrations.SeparateDatabaseAndState(
            database_operations=[
                migrations.RunSQL(
                    "ALTER TABLE tastings_note ALTER COLUMN descriptor_id DROP NOT NULL",
                    "ALTER TABLE tastings_note ALTER COLUMN descriptor_id SET NOT NULL",
                )
            ],
            state_operations=[
                migrations.AlterField(
                    "note",
                    "descriptor",
                    models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="tastings.descriptor",
                    ),
                )
            ],
        ),
        migrations.RunSQL(OF_TEAM % "NEW.descriptor_id IS NOT NULL AND ", OF_TEAM % ""),
    ]
