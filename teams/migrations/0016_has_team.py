"""Whether there is any team yet: the first one is made in the browser only while there is none."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("teams", "0015_login_policies")]
    operations = [
        migrations.RunSQL(
            """
            CREATE FUNCTION leafspan_has_team() RETURNS boolean
                LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
                SELECT EXISTS (SELECT FROM teams_team) $$;
            REVOKE ALL ON FUNCTION leafspan_has_team() FROM PUBLIC;
            """,
            "DROP FUNCTION leafspan_has_team();",
        ),
    ]
