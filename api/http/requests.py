"""Each request gets an id, a line in the log and a place in the counts.

The id comes with ``X-Request-ID``, so that a proxy or a phone can follow its request, or is made here; the answer has
it. One that is not 8 to 64 letters, digits, dots, dashes and underscores is made anew: it goes into log lines.
"""

import logging
import re
from collections.abc import Mapping
from time import perf_counter
from uuid import uuid4

from django.http import HttpRequest, HttpResponseBase

from api.http.context import log_context, route_of
from api.http.middleware import Middleware
from api.operations.metrics import count_request

HEADER = "X-Request-ID"
_SANE = re.compile(r"[A-Za-z0-9._-]{8,64}")
_QUIET = frozenset(("/metrics",))
"""Routes that machines ask all day long; only refusals of them are logged."""
_log = logging.getLogger(__name__)


def id_for(sent: str | None) -> str:
    """Return the id that came with a request if it has the right form, else a new one."""
    return sent if sent is not None and _SANE.fullmatch(sent) else uuid4().hex


class Requests(Middleware):
    """The outermost of the middlewares, so that it sees what the others answer and how long all of them take."""

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        begun, number = perf_counter(), id_for(request.headers.get(HEADER))

        def fields() -> Mapping[str, str]:
            token = getattr(request, "auth", None)  # the framework sets it once it knows who calls
            team = {"team": str(token.member.team_id)} if token is not None else {}
            return {"request": number, **team}

        with log_context(fields):
            response = self.answer(request)
            response.headers[HEADER] = number
            seconds, route = perf_counter() - begun, route_of(request)
            count_request(method=str(request.method), route=route, status=response.status_code, seconds=seconds)
            if route not in _QUIET or response.status_code >= 400:
                ms = round(1000 * seconds, 1)
                seen = {"method": request.method, "route": route, "status": response.status_code, "ms": ms}
                _log.info("%s %s %d", request.method, route, response.status_code, extra=seen)
        return response
