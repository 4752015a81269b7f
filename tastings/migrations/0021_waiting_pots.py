# ruff: noqa: S608 - the names in the function are those of our own tables
"""The oldest of what waits may be a pot, too."""

from django.db import migrations

RECORDS = ("lots_lot", "tastings_session", "tastings_infusion", "tastings_note", "tastings_descriptor", "tastings_pot")
_FIRST = " UNION ALL ".join(
    f"(SELECT revision, updated_at FROM {table} WHERE team_id = due.team_id AND revision >= due.first"
    " ORDER BY revision LIMIT 1)"
    for table in RECORDS
)
FUNCTION = f"""
    CREATE OR REPLACE FUNCTION leafspan_waiting() RETURNS TABLE (lots bigint, teams bigint, oldest timestamptz)
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        WITH due AS (
            SELECT team_id, min(due_revision) AS first, count(*) AS lots FROM tastings_development
            WHERE due_revision > computed_revision GROUP BY team_id)
        SELECT coalesce(sum(due.lots), 0)::bigint, count(*), min(since.updated_at)
        FROM due LEFT JOIN LATERAL
            (SELECT updated_at FROM ({_FIRST}) AS found ORDER BY revision LIMIT 1) AS since ON true $$;
"""


class Migration(migrations.Migration):
    dependencies = [("tastings", "0020_pots_checked")]
    operations = [migrations.RunSQL(FUNCTION, migrations.RunSQL.noop)]
