"""Counting attempts in PostgreSQL, so that many processes count as one and a lost broker changes nothing.

Counting comes before the attempt: a hundred attempts at once are a hundred, not one read a hundred times.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import connection
from django.db.models import F
from django.utils.crypto import salted_hmac

from teams.errors import SlowDown
from teams.models import Tally


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """At most so many of one kind in one stretch of time."""

    kind: str
    most: int
    within: timedelta


def key_of(*parts: str) -> str:
    """Return the digest under which something is counted; without the server's secret it cannot be turned back."""
    return salted_hmac("teams.tally", "\x00".join(parts), algorithm="sha256").hexdigest()


def count(limit: Limit, *of: str, now: datetime) -> tuple[int, datetime]:
    """Count one; return how many there are now and when the count ends."""
    with connection.cursor() as cursor:
        cursor.execute(
            """
            INSERT INTO teams_tally AS held (key, count, ends_at) VALUES (%(key)s, 1, %(ends_at)s)
            ON CONFLICT (key) DO UPDATE SET
                count = CASE WHEN held.ends_at <= %(now)s THEN 1 ELSE least(held.count + 1, 1000000) END,
                ends_at = CASE WHEN held.ends_at <= %(now)s THEN excluded.ends_at ELSE held.ends_at END
            RETURNING count, ends_at
            """,
            {"key": key_of(limit.kind, *of), "now": now, "ends_at": now + limit.within},
        )
        number, ends_at = cursor.fetchone()
    return int(number), ends_at


def counted(limit: Limit, *of: str, now: datetime) -> int:
    """Return how many there are, without counting one."""
    found = Tally.objects.filter(key=key_of(limit.kind, *of), ends_at__gt=now).values_list("count", flat=True)
    return found.first() or 0


def give_back(limit: Limit, *of: str) -> None:
    """Take one from the count."""
    Tally.objects.filter(key=key_of(limit.kind, *of), count__gt=0).update(count=F("count") - 1)


def start_over(limit: Limit, *of: str) -> None:
    """Forget the count."""
    Tally.objects.filter(key=key_of(limit.kind, *of)).delete()


def spend(limit: Limit, *of: str, now: datetime) -> None:
    """Count one; raise SlowDown past the limit."""
    number, ends_at = count(limit, *of, now=now)
    if number > limit.most:
        raise SlowDown(wait=ends_at - now)


def forget_ended(*, now: datetime) -> int:
    """Delete the counts that have ended; return how many there were."""
    return Tally.objects.filter(ends_at__lt=now).delete()[0]
