"""Foreign keys over two columns, and one live infusion of a number per session.

A record can hang on its own team's only, and a note on its own session's infusion only. The number rule is checked
at the end of the transaction, since a phone may renumber a whole session at once.
"""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("tastings", "0001_records"), ("lots", "0002_across_tables")]

    operations = [
        migrations.RunSQL(
            """
            ALTER TABLE tastings_session
                ADD CONSTRAINT session_lot_of_team FOREIGN KEY (team_id, lot_id)
                    REFERENCES lots_lot (team_id, id) DEFERRABLE INITIALLY DEFERRED,
                ADD CONSTRAINT session_shop_of_team FOREIGN KEY (team_id, shop_id)
                    REFERENCES teams_shop (team_id, id) DEFERRABLE INITIALLY DEFERRED;
            ALTER TABLE tastings_infusion
                ADD CONSTRAINT infusion_session_of_team FOREIGN KEY (team_id, session_id)
                    REFERENCES tastings_session (team_id, id) DEFERRABLE INITIALLY DEFERRED,
                ADD CONSTRAINT infusion_number_once EXCLUDE USING btree (session_id WITH =, number WITH =)
                    WHERE (NOT removed) DEFERRABLE INITIALLY DEFERRED;
            ALTER TABLE tastings_note
                ADD CONSTRAINT note_session_of_team FOREIGN KEY (team_id, session_id)
                    REFERENCES tastings_session (team_id, id) DEFERRABLE INITIALLY DEFERRED,
                ADD CONSTRAINT note_infusion_of_session FOREIGN KEY (infusion_id, session_id)
                    REFERENCES tastings_infusion (id, session_id) DEFERRABLE INITIALLY DEFERRED;
            """,
            """
            ALTER TABLE tastings_note DROP CONSTRAINT note_infusion_of_session, DROP CONSTRAINT note_session_of_team;
            ALTER TABLE tastings_infusion
                DROP CONSTRAINT infusion_number_once, DROP CONSTRAINT infusion_session_of_team;
            ALTER TABLE tastings_session DROP CONSTRAINT session_shop_of_team, DROP CONSTRAINT session_lot_of_team;
            """,
        )
    ]
