"""`leafspan_ids_in_use` takes the place of `leafspan_taken`: it says too which of the records the asker may read.

So a push reads only records that are there, and a new tasting, whose records are not, costs no read of each type. An id
of another team, or of a session that is private or blind, costs what a free one does.
"""

import importlib

from django.db import migrations

pots = importlib.import_module("tastings.migrations.0019_pots")

SHARED_OR_OWN = "($3 IS NULL OR session.taster_id = $3 OR (NOT session.private AND session.lot_id IS NOT NULL))"
OF_SESSION = "JOIN tastings_session AS session ON session.id = row.session_id"
KINDS = {
    "lot": ("lots_lot AS row", "row.team_id = $2"),
    "descriptor": ("tastings_descriptor AS row", "row.team_id = $2 OR row.team_id IS NULL"),
    "pot": ("tastings_pot AS row", "row.team_id = $2"),
    "session": ("tastings_session AS session", f"session.team_id = $2 AND {SHARED_OR_OWN}"),
    "infusion": (f"tastings_infusion AS row {OF_SESSION}", f"row.team_id = $2 AND {SHARED_OR_OWN}"),
    "note": (f"tastings_note AS row {OF_SESSION}", f"row.team_id = $2 AND {SHARED_OR_OWN}"),
    "photo": ("tastings_photo AS row", "false"),
    "flight": ("tastings_flight AS row", "false"),
    "triangle_test": ("tastings_triangletest AS row", "false"),
    "trial": ("tastings_trial AS row", "false"),
}  # fmt: skip
"""By kind: its table, and the condition under which a member ($3, or anybody) of a team ($2) reads a row by a push."""


def ids_in_use() -> str:
    """Return the statement that makes `leafspan_ids_in_use`: most ids of a push are free, so that is asked first."""
    anywhere = " OR ".join(
        f"EXISTS (SELECT FROM {table.split()[0]} AS row WHERE row.id = asked.id)" for table, _ in KINDS.values()
    )
    rows = " UNION ALL ".join(
        f"SELECT '{kind}', {name}.id, ({readable}) IS TRUE FROM {table} WHERE {name}.id = ANY ($1)"  # noqa: S608
        for kind, (table, readable) in KINDS.items()
        for name in ("session" if kind == "session" else "row",)
    )
    return f"""
        CREATE FUNCTION leafspan_ids_in_use(ids uuid[], team uuid, member uuid)
            RETURNS TABLE (kind text, id uuid, readable boolean)
            LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
            #variable_conflict use_column
            BEGIN
                ids := ARRAY(SELECT asked.id FROM unnest(ids) AS asked (id) WHERE {anywhere});
                IF ids <> '{{}}' THEN
                    RETURN QUERY {rows};
                END IF;
            END $$;
        REVOKE ALL ON FUNCTION leafspan_ids_in_use(uuid[], uuid, uuid) FROM PUBLIC;
    """  # noqa: S608 - our own names


class Migration(migrations.Migration):
    dependencies = [("tastings", "0027_pulled_photos")]

    operations = [
        migrations.RunSQL(ids_in_use(), "DROP FUNCTION leafspan_ids_in_use(uuid[], uuid, uuid)"),
        migrations.RunSQL("DROP FUNCTION leafspan_taken(text[], uuid[])", pots.taken(pots.ONE_SPACE, pots.TESTS)),
    ]
