"""The application's database role and its permissions, granted after every migration."""

from typing import cast

from django.core.exceptions import ImproperlyConfigured
from django.db import DEFAULT_DB_ALIAS, ProgrammingError, connections, transaction
from django.db.backends.postgresql.base import DatabaseWrapper

from teams.row_security import role

_TABLES_WITHOUT_ACCESS = ("django_migrations",)


def grant_privileges(*, using: str = DEFAULT_DB_ALIAS, **_: object) -> None:
    """Create the role if it is missing and let it read and write rows, nothing else."""
    create_role(using=using)
    connection = connections[using]
    name = connection.ops.quote_name(role())
    with transaction.atomic(using=using), connection.cursor() as cursor:
        cursor.execute("SELECT has_schema_privilege(%s, 'public', 'USAGE')", [role()])
        if not cursor.fetchone()[0]:
            cursor.execute(f"GRANT USAGE ON SCHEMA public TO {name}")
        cursor.execute(f"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {name}")
        cursor.execute(f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO {name}")
        for table in _TABLES_WITHOUT_ACCESS:
            cursor.execute(f"REVOKE ALL ON {table} FROM {name}")
        cursor.execute(
            """SELECT oid::regprocedure::text FROM pg_proc
               WHERE pronamespace = 'public'::regnamespace AND proname LIKE 'leafspan\\_%%'""",
            [],
        )
        for (function,) in cursor.fetchall():
            cursor.execute(f"GRANT EXECUTE ON FUNCTION {function} TO {name}")


def create_role(*, using: str = DEFAULT_DB_ALIAS) -> None:
    """Create the application's role if it is missing, and let the owner act as it.

    Raises
    ------
    ImproperlyConfigured
        The owner may not create roles, or the role passes row-level security.
    """
    connection = cast("DatabaseWrapper", connections[using])
    name = connection.ops.quote_name(role())
    try:
        with transaction.atomic(using=using), connection.cursor() as cursor:
            cursor.execute("SELECT EXISTS (SELECT FROM pg_roles WHERE rolname = %s)", [role()])
            if not cursor.fetchone()[0]:
                cursor.execute(f"CREATE ROLE {name} NOLOGIN")
            cursor.execute("SELECT rolbypassrls OR rolsuper FROM pg_roles WHERE rolname = %s", [role()])
            if cursor.fetchone()[0]:
                raise ImproperlyConfigured(f"the role {role()} passes row-level security: take BYPASSRLS from it")
            # since 16 a member may lack the privilege to act as the role, such as the login that has just made it
            privilege = "SET" if connection.pg_version >= 160000 else "MEMBER"
            cursor.execute("SELECT pg_has_role(current_user, %s, %s)", [role(), privilege])
            if not cursor.fetchone()[0]:
                cursor.execute(f"GRANT {name} TO CURRENT_USER")
    except ProgrammingError as error:
        with connection.cursor() as cursor:
            cursor.execute("SELECT current_user")
            owner = connection.ops.quote_name(cursor.fetchone()[0])
        raise ImproperlyConfigured(
            f"the application's role cannot be made with this login. Have an administrator run:"
            f" CREATE ROLE {name} NOLOGIN; GRANT {name} TO {owner};"
        ) from error
