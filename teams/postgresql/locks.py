"""Advisory locks of PostgreSQL, which end with the transaction."""

from django.db import connection


def try_lock(name: str) -> bool:
    """Take the lock of this name for the present transaction; return False if another transaction has it."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(hashtextextended(%s, 0))", [name])
        return bool(cursor.fetchone()[0])
