"""`leafspan_teams_with_photos_to_check` names teams with a logo to check too, and leaves out those of other cells."""

from django.db import migrations

HEAD = """
    CREATE OR REPLACE FUNCTION leafspan_teams_with_photos_to_check() RETURNS SETOF uuid
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT one.team_id FROM (
            SELECT team_id FROM tastings_photo WHERE state = 'checking' AND removed_at IS NULL
            UNION SELECT team_id FROM tastings_teamlogo WHERE state = 'checking') AS one
"""
HERE = "WHERE NOT EXISTS (SELECT FROM teams_movedteam AS moved WHERE moved.team_id = one.team_id)"
ORDERED = "ORDER BY 1 $$;"


class Migration(migrations.Migration):
    dependencies = [("tastings", "0029_team_logo"), ("teams", "0019_cells")]

    operations = [migrations.RunSQL(f"{HEAD} {HERE} {ORDERED}", f"{HEAD} {ORDERED}")]
