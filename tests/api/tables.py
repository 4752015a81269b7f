"""What our tables hold, as digests: whether a request has changed anything."""

from django.apps import apps
from django.db import connection

from teams.models import AuditEntry
from teams.models.limits import AttemptCount, KnownClient

COUNTING = (AuditEntry, KnownClient, AttemptCount)
"""Tables that count and log refusals."""
WRITES = """
    SELECT relname, pg_stat_get_xact_tuples_inserted(oid) + pg_stat_get_xact_tuples_updated(oid)
        + pg_stat_get_xact_tuples_deleted(oid)
    FROM pg_class WHERE oid = ANY(%s::text[]::regclass[])
"""
"""How often the transaction has written to each table, what was undone by a savepoint included."""
DIGEST = "SELECT '{0}', md5(string_agg(row_of::text, '' ORDER BY row_of::text)) FROM {0} row_of"


class Tables:
    """The digests of our tables within one transaction; reads again only those written to since the last time."""

    def __init__(self):
        models = [model for app in ("teams", "lots", "tastings") for model in apps.get_app_config(app).get_models()]
        self._names = [model._meta.db_table for model in models if model not in COUNTING]
        self._writes, self._digests = {}, {}

    def digests(self):
        """Return a digest of each table by its name."""
        with connection.cursor() as cursor:
            cursor.execute(WRITES, [self._names])
            writes = dict(cursor.fetchall())
            changed = [name for name in self._names if writes[name] != self._writes.get(name)]
            if changed:
                cursor.execute(" UNION ALL ".join(map(DIGEST.format, changed)))
                self._digests |= dict(cursor.fetchall())
        self._writes = writes
        return dict(self._digests)
