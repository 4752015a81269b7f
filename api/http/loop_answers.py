"""Answers of the event loop itself, without a thread; they have the same headers, counts and log lines as others."""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping
from time import perf_counter
from typing import TYPE_CHECKING

from a2wsgi.asgi_typing import HTTPScope, Send
from django.utils.translation import override

from api.http.headers import JSON_HEADERS
from api.http.languages import accepted_language
from api.http.problems import MEDIA_TYPE, problem_document
from api.http.requests import HEADER, id_for
from api.operations.metrics import count_request

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

_log = logging.getLogger(__name__)


def header_of(scope: HTTPScope, name: str) -> str:
    """Return a request's header, named in lower case; empty when it has none."""
    encoded = name.encode()
    return next((value.decode("latin-1") for key, value in scope["headers"] if key.lower() == encoded), "")


async def send_problem(  # noqa: PLR0913 - what a problem is made of
    scope: HTTPScope,
    send: Send,
    *,
    status: int,
    code: str,
    title: StrOrPromise,
    detail: StrOrPromise,
    route: str,
    began: float,
    headers: Mapping[str, str] | None = None,
) -> None:
    """Send a problem document in the language of ``Accept-Language``."""
    with override(accepted_language(header_of(scope, "accept-language"))):
        body = problem_document(status=status, code=code, title=str(title), detail=str(detail))
    await send_json(scope, send, body, status=status, route=route, began=began, headers=headers, media_type=MEDIA_TYPE)


async def send_json(  # noqa: PLR0913 - what an answer is made of
    scope: HTTPScope,
    send: Send,
    body: Mapping[str, object],
    *,
    status: int = 200,
    route: str,
    began: float,
    headers: Mapping[str, str] | None = None,
    media_type: str = "application/json",
) -> None:
    """Send a JSON document; ``route`` and ``began`` (of `time.perf_counter`) are for the counts."""
    content = json.dumps(body).encode()
    sent = {
        "Content-Type": media_type,
        "Content-Length": str(len(content)),
        "Cache-Control": "no-store",
        HEADER: id_for(header_of(scope, HEADER.lower()) or None),
        **JSON_HEADERS,
        **(headers or {}),
    }
    encoded = [(name.lower().encode(), value.encode()) for name, value in sent.items()]
    seconds = perf_counter() - began
    count_request(method=scope["method"], route=route, status=status, seconds=seconds)
    if status >= 400:
        seen = {"method": scope["method"], "route": route, "status": status, "ms": round(1000 * seconds, 1)}
        _log.info("%s %s %d", scope["method"], route, status, extra=seen)
    await send({"type": "http.response.start", "status": status, "headers": encoded})
    await send({"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else content})
