"""Which event streams are open, counted in the broker's server over all web processes.

A process adds its streams and renews them; one that dies lets go of them after `LIFETIME_S`. While the broker's server
does not answer nothing is counted here, and each process limits its own streams.
"""

import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

import redis
from django.conf import settings

from teams.broker import broker_client

LIFETIME_S = 60
PATIENCE_S = 0.25


@dataclass(frozen=True, slots=True)
class Stream:
    """One open stream: its own id, and whose it is."""

    id: UUID
    team: UUID
    user: UUID

    def entry(self) -> str:
        """Return the stream's name in the team's sorted set."""
        return f"{self.user} {self.id}"


def renew_streams(streams: Iterable[Stream]) -> None:
    """Count these streams as open for another `LIFETIME_S`; raise RedisError if that cannot be stored."""
    ends_at = time.time() + LIFETIME_S
    with _client() as client:
        pipeline = client.pipeline(transaction=False)
        for stream in streams:
            pipeline.zadd(_key(stream.team), {stream.entry(): ends_at})
            pipeline.expire(_key(stream.team), 2 * LIFETIME_S)
        pipeline.execute()


def close_stream(stream: Stream) -> None:
    """Count the stream no longer; raise RedisError if that cannot be stored."""
    with _client() as client:
        client.zrem(_key(stream.team), stream.entry())


def open_streams(team: UUID) -> dict[UUID, int]:
    """Return how many streams each login has open in a team; none while the broker's server does not answer."""
    try:
        with _client() as client:
            entries = client.zrangebyscore(_key(team), time.time(), "+inf")
    except redis.RedisError:
        return {}
    return dict(Counter(UUID(entry.decode().partition(" ")[0]) for entry in entries))


def _key(team: UUID) -> str:
    return f"leafspan:streams:{team}"


def _client() -> redis.Redis:
    return broker_client(settings.REDIS_URL, timeout_s=PATIENCE_S)
