"""Counting attempts in PostgreSQL, so that many processes count as one and a lost broker changes nothing.

Counting comes before the attempt: a hundred attempts at once are a hundred, not one read a hundred times.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import connection
from django.db.models import F
from django.utils.crypto import salted_hmac

from teams.errors import Throttled
from teams.models import AttemptCount


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """How many attempts of one kind there may be in a period."""

    kind: str
    max_attempts: int
    window: timedelta


def count_key(*parts: str) -> str:
    """Return the key under which something is counted: a digest that needs the server's secret."""
    return salted_hmac("teams.tally", "\x00".join(parts), algorithm="sha256").hexdigest()


def increment(limit: Limit, *of: str, now: datetime) -> tuple[int, datetime]:
    """Count one attempt; return how many there are now and when the count ends."""
    with connection.cursor() as cursor:
        cursor.execute(
            """
            INSERT INTO teams_tally AS stored (key, count, ends_at) VALUES (%(key)s, 1, %(ends_at)s)
            ON CONFLICT (key) DO UPDATE SET
                count = CASE WHEN stored.ends_at <= %(now)s THEN 1 ELSE least(stored.count + 1, 1000000) END,
                ends_at = CASE WHEN stored.ends_at <= %(now)s THEN excluded.ends_at ELSE stored.ends_at END
            RETURNING count, ends_at
            """,
            {"key": count_key(limit.kind, *of), "now": now, "ends_at": now + limit.window},
        )
        number, ends_at = cursor.fetchone()
    return int(number), ends_at


def current_count(limit: Limit, *of: str, now: datetime) -> int:
    """Return how many attempts there were, without counting one."""
    counts = AttemptCount.objects.filter(key=count_key(limit.kind, *of), ends_at__gt=now)
    return counts.values_list("count", flat=True).first() or 0


def decrement(limit: Limit, *of: str) -> None:
    """Take one attempt from the count."""
    AttemptCount.objects.filter(key=count_key(limit.kind, *of), count__gt=0).update(count=F("count") - 1)


def reset_count(limit: Limit, *of: str) -> None:
    """Start the count at 0 again."""
    AttemptCount.objects.filter(key=count_key(limit.kind, *of)).delete()


def increment_or_raise(limit: Limit, *of: str, now: datetime) -> None:
    """Count one attempt; raise Throttled past the limit."""
    number, ends_at = increment(limit, *of, now=now)
    if number > limit.max_attempts:
        raise Throttled(wait=ends_at - now)


def delete_expired_counts(*, now: datetime) -> int:
    """Delete the counts that have ended; return how many there were."""
    return AttemptCount.objects.filter(ends_at__lt=now).delete()[0]
