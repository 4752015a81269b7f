"""Members and shops have revisions, so that phones pull them; the database gives each change its own.

A trigger cannot be forgotten by code that writes. It locks the team's row, as every writer does, and fires when a row
is made, when a column that phones pull has changed, and when `revision` itself is changed, which asks for a new
one.
"""

from django.db import migrations, models

FUNCTION = """
    CREATE FUNCTION leafspan_next_revision() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        UPDATE teams_team SET revision = revision + 1 WHERE id = NEW.team_id RETURNING revision INTO NEW.revision;
        RETURN NEW;
    END $$;
"""
NO_FUNCTION = "DROP FUNCTION leafspan_next_revision();"
COLUMNS = {"teams_shop": ("name", "usual_pot"), "teams_member": ("role", "shop_id", "left_at")}
"""By table, the columns that phones pull and that can change."""


def number(table: str) -> str:
    """Return the statement that gives the rows that are there their revisions, once the triggers stand."""
    return f"UPDATE {table} SET revision = 1 WHERE revision = 0;"  # noqa: S608 - the table's name is our own


def follow(table: str, columns: tuple[str, ...]) -> str:
    """Return the statements by which the database gives a table's rows their revisions."""
    before, after = (", ".join(f"{side}.{name}" for name in ("revision", *columns)) for side in ("OLD", "NEW"))
    return f"""
        CREATE TRIGGER {table}_made BEFORE INSERT ON {table} FOR EACH ROW EXECUTE FUNCTION leafspan_next_revision();
        CREATE TRIGGER {table}_changed BEFORE UPDATE ON {table} FOR EACH ROW
            WHEN (({before}) IS DISTINCT FROM ({after})) EXECUTE FUNCTION leafspan_next_revision();
    """


def forget(table: str) -> str:
    """Return the statements that undo `follow`."""
    return f"DROP TRIGGER {table}_changed ON {table}; DROP TRIGGER {table}_made ON {table};"


class Migration(migrations.Migration):
    dependencies = [("teams", "0016_has_team")]

    operations = [
        migrations.RunSQL(FUNCTION, NO_FUNCTION),
        migrations.AddField("shop", "revision", models.BigIntegerField(default=0, editable=False)),
        migrations.AddField("member", "revision", models.BigIntegerField(default=0, editable=False)),
        *(migrations.RunSQL(follow(table, columns), forget(table)) for table, columns in COLUMNS.items()),
        *(migrations.RunSQL(number(table), migrations.RunSQL.noop) for table in COLUMNS),
        migrations.AddConstraint(
            "shop", models.UniqueConstraint(fields=("team", "revision"), name="shop_revision_once")
        ),
        migrations.AddConstraint(
            "member", models.UniqueConstraint(fields=("team", "revision"), name="member_revision_once")
        ),
    ]
