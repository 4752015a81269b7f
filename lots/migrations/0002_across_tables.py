"""Foreign keys over team and id together: no record can hang on another team's."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("lots", "0001_records"), ("teams", "0001_records")]

    operations = [
        migrations.RunSQL(
            """
            ALTER TABLE lots_lot ADD CONSTRAINT lot_from_own_team FOREIGN KEY (team_id, from_lot_id)
                REFERENCES lots_lot (team_id, id) DEFERRABLE INITIALLY DEFERRED;
            ALTER TABLE teams_member ADD CONSTRAINT member_in_own_shop FOREIGN KEY (team_id, shop_id)
                REFERENCES teams_shop (team_id, id) DEFERRABLE INITIALLY DEFERRED;
            """,
            """
            ALTER TABLE teams_member DROP CONSTRAINT member_in_own_shop;
            ALTER TABLE lots_lot DROP CONSTRAINT lot_from_own_team;
            """,
        )
    ]
