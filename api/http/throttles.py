"""Requests a minute for one login: generous for a person with phones, a limit for a client in an endless loop.

All devices of a login count together, so that signing in once more brings no new allowance.

Counts are kept in the broker's server, so that all web processes count together. While that does not answer, each
process counts for itself: nobody is shut out, and nothing is open without end, only up to the limit once per process.
Sign-in is counted elsewhere, in PostgreSQL (`teams.actions.login_throttle`), and does not depend on the broker at all.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from threading import Lock
from typing import TYPE_CHECKING

import redis
from django.conf import settings
from django.http import HttpRequest, HttpResponseBase
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from api.http.auth import LOGIN_HEADER, SIGNED_IN, bearer_token, client_ip
from api.http.middleware import Middleware
from teams.broker import broker_client

if TYPE_CHECKING:
    from rest_framework.views import APIView

WINDOW_S = 60
COUNTED = "leafspan.counted"
"""Key in the META of a request that was counted before it was carried out."""
LEFT_ALONE_S = 5.0
"""How long the broker is not asked again after it did not answer."""
PATIENCE_S = 0.25
_log = logging.getLogger(__name__)


class Counter:
    """Counts requests by key and minute."""

    def __init__(self, *, url: Callable[[], str], clock: Callable[[], float] = time.time) -> None:
        self._url, self._clock = url, clock
        self._client: redis.Redis | None = None
        self._ask_again_at = 0.0
        self._own: dict[str, int] = {}
        self._own_window = -1
        self._lock = Lock()

    def count(self, key: str) -> tuple[int, int]:
        """Count one request; return how many there were in this minute and how many seconds it still lasts."""
        now = self._clock()
        window = int(now // WINDOW_S)
        wait_s = max(1, int(WINDOW_S * (window + 1) - now))
        if now >= self._ask_again_at:
            try:
                return self._ask(f"leafspan:requests:{key}:{window}"), wait_s
            except redis.RedisError:
                self._ask_again_at = now + LEFT_ALONE_S
                _log.warning("the broker does not count requests: this process does it alone", exc_info=True)
        return self._count_alone(key, window), wait_s

    def _ask(self, name: str) -> int:
        with self._lock:  # one client for all threads: one that is replaced closes the connection that another uses
            self._client = self._client or broker_client(self._url(), timeout_s=PATIENCE_S)
        both = self._client.pipeline(transaction=False)
        both.incr(name)
        both.expire(name, 2 * WINDOW_S)
        return int(both.execute()[0])

    def _count_alone(self, key: str, window: int) -> int:
        with self._lock:
            if window != self._own_window:
                self._own, self._own_window = {}, window
            self._own[key] = self._own.get(key, 0) + 1
            return self._own[key]


requests_of = Counter(url=lambda: settings.REDIS_URL)


_NAME = "login"


def set_limit_headers(request: Request, *, limit: int, left: int, reset_s: int) -> None:
    """Have the answer say how many requests are left before the limit, in the form of `RateLimitHeaders`."""
    request._request.META["leafspan.rate_limit"] = {  # noqa: SLF001 - DRF's way to Django's request
        "RateLimit-Policy": f'"{_NAME}";q={limit};w={WINDOW_S}',
        "RateLimit": f'"{_NAME}";r={max(0, left)};t={reset_s}',
    }


class RateLimitHeaders(Middleware):
    """Adds what a request has left, ``RateLimit-Policy`` and ``RateLimit``, and whose it is, for the web server.

    As in draft-ietf-httpapi-ratelimit-headers-10: ``q`` requests in a window of ``w`` seconds; ``r`` are left, and in
    ``t`` seconds the count starts anew.
    """

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        response = self.answer(request)
        for name, value in request.META.get("leafspan.rate_limit", {}).items():
            response[name] = value
        if SIGNED_IN in request.META:
            response[LOGIN_HEADER] = request.META[SIGNED_IN]
        return response


class PerLogin(BaseThrottle):
    """At most ``API_REQUESTS_PER_MINUTE`` requests of one login.

    Who is not signed in is counted here by address where a token is sent along, such as an old one to sign in,
    otherwise by `pages.later`.
    """

    def __init__(self) -> None:
        self._wait_s = 0

    def allow_request(self, request: Request, view: APIView) -> bool:  # noqa: ARG002 - the framework's shape
        """Count the request and say whether it may go on."""
        limit = settings.API_REQUESTS_PER_MINUTE
        if not request.user.is_authenticated:
            if bearer_token(request) is None:
                return True
            number, self._wait_s = requests_of.count(f"address {client_ip(request)}")
            request._request.META[COUNTED] = True  # noqa: SLF001 - DRF's way to Django's request
            return number <= limit
        number, self._wait_s = requests_of.count(str(request.user.pk))
        request._request.META[COUNTED] = True  # noqa: SLF001
        set_limit_headers(request, limit=limit, left=limit - number, reset_s=self._wait_s)
        return number <= limit

    def wait(self) -> float:
        """Return in how many seconds the count starts anew."""
        return self._wait_s
