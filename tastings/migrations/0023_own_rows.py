"""Who may change which row of a team, beside which team's rows: a taster changes their own, a viewer none.

While the setting ``leafspan.limited_to`` names a member, as it does in the requests of tasters, the application's role
writes only what is that member's. The rules of the push are finer; these hold should the code forget them. Reading is
not limited further. The conditions are sub-selects, evaluated once per statement.
"""

from django.db import migrations

ME = "(SELECT leafspan_limited_to())"
_OWN_SESSION = (
    "EXISTS (SELECT FROM tastings_session AS parent WHERE parent.id = {table}.session_id AND parent.taster_id = {me})"
)
OWN = {
    "lots_lot": "author_id = {me} AND status IN ('', 'sample')",
    "tastings_descriptor": "author_id = {me}",
    "tastings_pot": "author_id = {me}",
    "tastings_session": "taster_id = {me}",
    "tastings_infusion": _OWN_SESSION,
    "tastings_note": _OWN_SESSION,
    "tastings_photo": "by_id = {me} OR " + _OWN_SESSION,
    "tastings_triangletest": "by_id = {me}",
    "tastings_trial": "by_id = {me} OR EXISTS"
    " (SELECT FROM tastings_triangletest AS parent WHERE parent.id = {table}.test_id AND parent.by_id = {me})",
    "tastings_flight": "false",
    "tastings_flightlot": "false",
    "tastings_flightmember": "false",
    "tastings_flightcup": "false",
}
"""By table, the condition of the rows that a member limited to their own may write."""
_COMMANDS = {
    "insert": "INSERT WITH CHECK ({rule})",
    "update": "UPDATE USING ({rule}) WITH CHECK ({rule})",
    "delete": "DELETE USING ({rule})",
}
AUTHORS = {
    "lots_lot": "author_id",
    "tastings_descriptor": "author_id",
    "tastings_pot": "author_id",
    "tastings_infusion": "author_id",
    "tastings_note": "author_id",
    "tastings_session": "taster_id",
}
"""By table, the column that says who made a record."""

FUNCTIONS = """
    CREATE FUNCTION leafspan_limited_to() RETURNS uuid LANGUAGE sql STABLE PARALLEL SAFE AS
        $$ SELECT nullif(current_setting('leafspan.limited_to', true), '')::uuid $$;
    REVOKE ALL ON FUNCTION leafspan_limited_to() FROM PUBLIC;

    CREATE FUNCTION leafspan_author_stays() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        RAISE EXCEPTION 'who made a record never changes' USING ERRCODE = 'check_violation';
    END $$;
"""
NO_FUNCTIONS = """
    DROP FUNCTION leafspan_author_stays();
    DROP FUNCTION leafspan_limited_to();
"""


def limit(table: str) -> str:
    """Return the statements that limit who may write a table's rows."""
    rule = f"{ME} IS NULL OR {OWN[table].format(table=table, me=ME)}"
    return "\n".join(
        f"CREATE POLICY {table}_own_{name} ON {table} AS RESTRICTIVE FOR {command.format(rule=rule)};"
        for name, command in _COMMANDS.items()
    )


def lift(table: str) -> str:
    """Return the statements that undo `limit`."""
    return "\n".join(f"DROP POLICY {table}_own_{name} ON {table};" for name in _COMMANDS)


def keep_author(table: str) -> str:
    """Return the statement that makes the database refuse another author."""
    column = AUTHORS[table]
    return (
        f"CREATE TRIGGER {table}_author_stays BEFORE UPDATE OF {column} ON {table} FOR EACH ROW"
        f" WHEN (OLD.{column} IS DISTINCT FROM NEW.{column}) EXECUTE FUNCTION leafspan_author_stays();"
    )


class Migration(migrations.Migration):
    dependencies = [("tastings", "0022_words_alone"), ("lots", "0004_author_filled")]

    operations = [
        migrations.RunSQL(FUNCTIONS, NO_FUNCTIONS),
        *(migrations.RunSQL(limit(table), lift(table)) for table in OWN),
        *(migrations.RunSQL(keep_author(table), f"DROP TRIGGER {table}_author_stays ON {table};") for table in AUTHORS),
    ]
