"""The rule of one live infusion of a number per session names the team, as the key of a partitioned table must.

The new constraint is there before the old one goes, so no moment is without it. Its index begins with the session, by
which infusions are read.
"""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("tastings", "0024_counted_scores")]

    operations = [
        migrations.RunSQL(
            """
            ALTER TABLE tastings_infusion ADD CONSTRAINT infusion_number_once_of_team
                EXCLUDE USING btree (session_id WITH =, number WITH =, team_id WITH =)
                WHERE (NOT removed) DEFERRABLE INITIALLY DEFERRED;
            ALTER TABLE tastings_infusion DROP CONSTRAINT infusion_number_once;
            ALTER TABLE tastings_infusion RENAME CONSTRAINT infusion_number_once_of_team TO infusion_number_once;
            """,
            """
            ALTER TABLE tastings_infusion ADD CONSTRAINT infusion_number_once_before
                EXCLUDE USING btree (session_id WITH =, number WITH =) WHERE (NOT removed) DEFERRABLE INITIALLY DEFERRED;
            ALTER TABLE tastings_infusion DROP CONSTRAINT infusion_number_once;
            ALTER TABLE tastings_infusion RENAME CONSTRAINT infusion_number_once_before TO infusion_number_once;
            """,
        )
    ]
