"""`leafspan_ids_in_use` goes through each table once, by its index, instead of asking ten tables for each id.

It answers the same in half the time. An id that is in use costs the read of its row, so still hardly more than a free
one. A connection keeps its plan: one made while the tables were small would go on to read them whole.
"""

import importlib

from django.db import migrations

before = importlib.import_module("tastings.migrations.0028_ids_in_use")


def ids_in_use() -> str:
    """Return the statement that makes it so."""
    rows = " UNION ALL ".join(
        f"SELECT '{kind}', {name}.id, ({readable}) IS TRUE FROM {table} WHERE {name}.id = ANY ($1)"  # noqa: S608
        for kind, (table, readable) in before.KINDS.items()
        for name in ("session" if kind == "session" else "row",)
    )
    return f"""
        CREATE OR REPLACE FUNCTION leafspan_ids_in_use(ids uuid[], team uuid, member uuid)
            RETURNS TABLE (kind text, id uuid, readable boolean)
            LANGUAGE plpgsql STABLE SECURITY DEFINER
            SET search_path = pg_catalog, public, pg_temp SET enable_seqscan = off AS $$
            #variable_conflict use_column
            BEGIN
                RETURN QUERY {rows};
            END $$;
    """


class Migration(migrations.Migration):
    dependencies = [("tastings", "0033_waiting_lots")]

    operations = [
        migrations.RunSQL(ids_in_use(), before.ids_in_use().replace("CREATE FUNCTION", "CREATE OR REPLACE FUNCTION")),
    ]
