"""The broker's server, which also counts requests and event streams."""

import redis
from redis.backoff import NoBackoff
from redis.retry import Retry


def broker_client(url: str, *, timeout_s: float) -> redis.Redis:
    """Return a client that asks once and raises RedisError without an answer in time."""
    return redis.Redis.from_url(
        url, socket_timeout=timeout_s, socket_connect_timeout=timeout_s, retry=Retry(NoBackoff(), 0)
    )
