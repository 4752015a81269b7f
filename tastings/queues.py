"""The two queues of jobs, and what waits in them.

``fresh`` is what someone waits for; workers empty it first. ``steady`` is what may take its time: bulk refits, learning
from a team, photos, tidying. Their names sort in that order, which is the order that the broker's transport uses.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import lru_cache
from typing import TypeVar

import redis
from django.conf import settings

from teams.broker import broker_client

PATIENCE_S = 1.0
T = TypeVar("T")


class Queue(StrEnum):
    """Where a job waits for a worker."""

    FRESH = "fresh"
    STEADY = "steady"


class BrokerDown(ConnectionError):  # noqa: N818 - reads as what happened
    """The broker does not answer."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Waiting:
    """How many jobs no worker has taken, and for how long the oldest has waited. [1, s]."""

    length: int
    oldest_s: float


def ask_broker(work: Callable[[redis.Redis], T]) -> T:
    """Ask the broker's server something; raise BrokerDown when it does not answer."""
    try:
        return work(_client(settings.REDIS_URL))
    except redis.RedisError as error:
        raise BrokerDown from error


def queues(*, now: datetime) -> Mapping[Queue, Waiting]:
    """Return what waits in each queue, without jobs that a worker holds until their moment; raise BrokerDown."""

    def look(client: redis.Redis) -> Mapping[Queue, Waiting]:
        both = client.pipeline(transaction=False)
        for queue in Queue:
            both.llen(queue.value)
            both.lindex(queue.value, -1)  # the next one to be taken
        replies = both.execute()
        return {
            queue: Waiting(length=int(replies[2 * i]), oldest_s=_age_s(replies[2 * i + 1], now=now))
            for i, queue in enumerate(Queue)
        }

    return ask_broker(look)


def _age_s(message: bytes | None, *, now: datetime) -> float:
    """Return the age of a message; 0 for none and for one that does not say when it was sent."""
    if message is None:
        return 0.0
    try:
        sent_at = datetime.fromisoformat(json.loads(message)["headers"]["sent_at"])
        return max(0.0, (now - sent_at).total_seconds())
    except (ValueError, KeyError, TypeError):
        return 0.0


@lru_cache(maxsize=4)
def _client(url: str) -> redis.Redis:
    return broker_client(url, timeout_s=PATIENCE_S)
