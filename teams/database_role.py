"""The roles of web and worker: made if they are missing, and given their permissions after every migration."""

from typing import cast

from django.core.exceptions import ImproperlyConfigured
from django.db import DEFAULT_DB_ALIAS, ProgrammingError, connections, transaction
from django.db.backends.postgresql.base import DatabaseWrapper
from django.db.backends.utils import CursorWrapper

from teams.row_security import WORKER_ONLY, role, worker_role

REPLICATION_LOGIN = "leafspan_replication"
"""The login by which a replica copies the server."""
_TABLES_WITHOUT_ACCESS = ("django_migrations",)


def grant_privileges(*, using: str = DEFAULT_DB_ALIAS, **_: object) -> None:
    """Create the roles if they are missing and let them read and write rows, nothing else."""
    create_roles(using=using)
    connection = connections[using]
    name, worker = connection.ops.quote_name(role()), connection.ops.quote_name(worker_role())
    with transaction.atomic(using=using), connection.cursor() as cursor:
        if not _value(cursor, "SELECT has_schema_privilege(%s, 'public', 'USAGE')", role()):
            cursor.execute(f"GRANT USAGE ON SCHEMA public TO {name}")
        cursor.execute(f"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {name}")
        cursor.execute(f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO {name}")
        for table in _TABLES_WITHOUT_ACCESS:
            cursor.execute(f"REVOKE ALL ON {table} FROM {name}")
        cursor.execute(
            """SELECT proname, oid::regprocedure::text FROM pg_proc
               WHERE pronamespace = 'public'::regnamespace AND proname LIKE 'leafspan\\_%%'""",
            [],
        )
        for function, signature in cursor.fetchall():
            cursor.execute(f"REVOKE ALL ON FUNCTION {signature} FROM PUBLIC, {name}")
            cursor.execute(f"GRANT EXECUTE ON FUNCTION {signature} TO {worker if function in WORKER_ONLY else name}")


def create_roles(*, using: str = DEFAULT_DB_ALIAS) -> None:
    """Create the roles of web and worker if they are missing, and let the owner act as them.

    Raise ImproperlyConfigured if the owner may not create roles, or a role passes row-level security.
    """
    connection = cast("DatabaseWrapper", connections[using])
    name, worker = connection.ops.quote_name(role()), connection.ops.quote_name(worker_role())
    try:
        with transaction.atomic(using=using), connection.cursor() as cursor:
            for role_name in (role(), worker_role()):
                if not _value(cursor, "SELECT EXISTS (SELECT FROM pg_roles WHERE rolname = %s)", role_name):
                    cursor.execute(f"CREATE ROLE {connection.ops.quote_name(role_name)} NOLOGIN")
                if _value(cursor, "SELECT rolbypassrls OR rolsuper FROM pg_roles WHERE rolname = %s", role_name):
                    raise ImproperlyConfigured(
                        f"the role {role_name} passes row-level security: take BYPASSRLS from it"
                    )
            if not _value(cursor, "SELECT pg_has_role(%s, %s, 'USAGE')", worker_role(), role()):
                cursor.execute(f"GRANT {name} TO {worker}")
            # since 16 a member may lack the privilege to act as the role, such as the login that has just made it
            privilege = "SET" if connection.pg_version >= 160000 else "MEMBER"
            for role_name in (role(), worker_role()):
                if not _value(cursor, "SELECT pg_has_role(current_user, %s, %s)", role_name, privilege):
                    cursor.execute(f"GRANT {connection.ops.quote_name(role_name)} TO CURRENT_USER")
    except ProgrammingError as error:
        with connection.cursor() as cursor:
            owner = connection.ops.quote_name(str(_value(cursor, "SELECT current_user")))
            cursor.execute("SELECT rolname FROM pg_roles WHERE rolname = ANY (%s)", [[role(), worker_role()]])
            present = {role_name for (role_name,) in cursor.fetchall()}
        sql = [f"CREATE ROLE {connection.ops.quote_name(role_name)} NOLOGIN;"
                  for role_name in (role(), worker_role()) if role_name not in present]  # fmt: skip
        sql += [f"GRANT {name} TO {worker};", f"GRANT {name}, {worker} TO {owner};"]
        raise ImproperlyConfigured(
            "the roles of web and worker cannot be made with this login, which must be the owner of the tables. Have an"
            f" administrator run: {' '.join(sql)}"
        ) from error


def create_login(name: str, *, password: str, acts_as: str) -> None:
    """Create a login that owns nothing and may only act as the given role, or give it this password.

    Raise ImproperlyConfigured if the owner may not create logins, or if the login could do more: it is an
    administrator, owns a table or may act as another role.
    """
    connection = cast("DatabaseWrapper", connections[DEFAULT_DB_ALIAS])
    login, target = connection.ops.quote_name(name), connection.ops.quote_name(acts_as)
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            if not _value(cursor, "SELECT EXISTS (SELECT FROM pg_roles WHERE rolname = %s)", name):
                cursor.execute(f"CREATE ROLE {login} LOGIN NOINHERIT")
            _check_owns_nothing(name, acts_as=acts_as)
            cursor.execute(f"ALTER ROLE {login} LOGIN NOINHERIT PASSWORD '{_hashed(connection, name, password)}'")
            if not _value(cursor, "SELECT pg_has_role(%s, %s, 'MEMBER')", name, acts_as):
                cursor.execute(f"GRANT {target} TO {login}")
    except ProgrammingError as error:
        raise ImproperlyConfigured(
            "this login may not make others. Have an administrator run:"
            f" CREATE ROLE {login} LOGIN NOINHERIT PASSWORD '…'; GRANT {target} TO {login};"
        ) from error


def create_replication_login(*, password: str) -> None:
    """Create the login by which a replica copies the server, or give it this password.

    Raise ImproperlyConfigured if the owner may not create such a login.
    """
    connection = cast("DatabaseWrapper", connections[DEFAULT_DB_ALIAS])
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            if not _value(cursor, "SELECT EXISTS (SELECT FROM pg_roles WHERE rolname = %s)", REPLICATION_LOGIN):
                cursor.execute(f"CREATE ROLE {REPLICATION_LOGIN} LOGIN REPLICATION")
            cursor.execute(
                f"ALTER ROLE {REPLICATION_LOGIN} PASSWORD '{_hashed(connection, REPLICATION_LOGIN, password)}'"
            )
    except ProgrammingError as error:
        raise ImproperlyConfigured(
            "this login may not make others. Have an administrator run:"
            f" CREATE ROLE {REPLICATION_LOGIN} LOGIN REPLICATION PASSWORD '…';"
        ) from error


def _value(cursor: CursorWrapper, sql: str, *values: str) -> object:
    """Return the only value of a query with one row."""
    cursor.execute(sql, values or None)
    value: object = cursor.fetchone()[0]
    return value


def _hashed(connection: DatabaseWrapper, name: str, password: str) -> str:
    """Return a password as the server stores it, so that no statement holds it in clear."""
    hashed: bytes = connection.connection.pgconn.encrypt_password(password.encode(), name.encode(), b"scram-sha-256")
    return hashed.decode()


def _check_owns_nothing(name: str, *, acts_as: str) -> None:
    with connections[DEFAULT_DB_ALIAS].cursor() as cursor:
        is_powerful = _value(
            cursor, "SELECT rolsuper OR rolbypassrls OR rolcreaterole FROM pg_roles WHERE rolname = %s", name
        )
        owned = _value(cursor, "SELECT count(*) FROM pg_class WHERE relowner = %s::regrole", f'"{name}"')
        cursor.execute(
            """SELECT granted.rolname FROM pg_auth_members JOIN pg_roles AS granted ON granted.oid = roleid
               WHERE member = %s::regrole AND granted.rolname <> %s""",
            [f'"{name}"', acts_as],
        )
        others = [granted for (granted,) in cursor.fetchall()]
    if is_powerful or owned or others:
        raise ImproperlyConfigured(
            f"the login {name} may do more than act as {acts_as}: choose another name, or take its rights from it"
        )
