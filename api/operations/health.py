"""Whether this process lives, and whether it can serve: answered on the event loop, beside the threads of requests.

Being live needs neither database nor broker. Being ready is asked of both, in a thread of its own, at most once a
second however many ask.
"""

import asyncio
import logging
from concurrent.futures import ThreadPoolExecutor
from time import perf_counter

from a2wsgi.asgi_typing import HTTPScope, Receive, Send
from django.db import Error, connection
from django.utils.translation import gettext_lazy as _

from api.http.loop_answers import send_json, send_problem
from tastings.jobs import worker_answers

LIVE, READY = "/health/live", "/health/ready"
PATHS = (LIVE, READY)
PATIENCE_S = 5.0
"""A database or worker that has not answered after this time counts as missing. [s]"""
FRESH_S = 1.0
"""For how long an answer is given again. [s]"""
_log = logging.getLogger(__name__)


class Health:
    """Answers for one process."""

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(1, "health")
        self._check: asyncio.Future[dict[str, bool]] | None = None
        self._checked_at = 0.0

    async def __call__(self, scope: HTTPScope, receive: Receive, send: Send) -> None:  # noqa: ARG002 - ASGI's shape
        """Answer one request."""
        path, began = str(scope["path"]).removesuffix("/"), perf_counter()
        if scope["method"] not in ("GET", "HEAD"):
            await send_problem(
                scope, send, status=405, code="method_not_allowed", title=_("Method Not Allowed"),
                detail=_("only GET and HEAD are answered here"), headers={"Allow": "GET, HEAD"},
                route=path, began=began,
            )  # fmt: skip
            return
        if path == LIVE:
            await send_json(scope, send, {"live": True}, route=path, began=began)
            return
        checks = await self._ready()
        is_ready = all(checks.values())
        body = {"ready": is_ready, **checks}
        await send_json(scope, send, body, status=200 if is_ready else 503, route=path, began=began)

    async def _ready(self) -> dict[str, bool]:
        """Return what answers; concurrent callers share one check."""
        loop = asyncio.get_running_loop()
        is_over = self._check is None or (self._check.done() and loop.time() > self._checked_at + FRESH_S)
        if is_over or self._check is None:
            self._check = loop.run_in_executor(self._thread, check_readiness)
            self._check.add_done_callback(lambda _check: setattr(self, "_checked_at", loop.time()))
        done, _waiting = await asyncio.wait([self._check], timeout=PATIENCE_S)
        return self._check.result() if done else {"database": False, "worker": False}


def check_readiness() -> dict[str, bool]:
    """Return whether the database answers and whether a worker does; leaves no connection open."""
    try:
        database = _database_answers()
        return {"database": database, "worker": database and worker_answers()}
    finally:
        connection.close()


def _database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM tastings_development WHERE false")
    except Error as error:
        _log.warning("database does not answer: %s", error)
        return False
    return True
