"""Server-sent events: a word to the other phones that there is something to pull.

``GET /api/v1/events`` with a bearer token answers ``text/event-stream``. Each event has the team's cursor as its id and
``{"team", "cursor"}`` as its data; the phone then syncs from its own cursor. A phone that comes back with
``Last-Event-ID`` hears at once if it has missed something. A comment every 15 seconds keeps proxies from hanging up.

A listener costs one task and no thread. One query a second asks for the counters of all teams that anyone here listens
to, so nothing has to be told when someone writes, and nothing can get lost. A slow listener gets the latest cursor when
it is ready for it, never a queue of old ones.
"""

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any
from uuid import UUID

from django.db import connections
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.problems import MEDIA_TYPE, problem_document
from teams.actions.people import token_digest
from teams.errors import Refused
from teams.queries.people import revisions_of, token_by_digest, valid_tokens

PATH = "/api/v1/events"
LOOK_EVERY_S = 1.0
HEARTBEAT_S = 15.0
MOST_LISTENERS = 2000
"""In one process; more are asked to come back later."""


class LiveEventsUnavailable(Refused):
    """The web server was started without what this needs."""

    status = 501
    code = "not_served"
    title = gettext_lazy("This server was started without live events")


class Events(APIView):
    """The stream as the OpenAPI document tells it; `config.asgi` serves it before it comes here."""

    def get(self, request: Request) -> Response:  # noqa: ARG002 - the framework's shape
        """Open the stream: an event whenever there is something to pull."""
        raise LiveEventsUnavailable(_("start the web server on config.asgi"))


Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]

_log = logging.getLogger(__name__)


@dataclass(eq=False, slots=True)
class _Listener:
    """One open stream: whose it is, the last cursor told, and what wakes it."""

    token: UUID
    team: UUID
    told: int
    latest: int
    wake: asyncio.Event = field(default_factory=asyncio.Event)
    ended: bool = False


class Live:
    """The listeners of one process."""

    def __init__(self) -> None:
        self._listeners: set[_Listener] = set()
        self._watch: asyncio.Task[None] | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one listener until it or its token goes."""
        headers = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}
        if scope["method"] not in ("GET", "HEAD"):
            return await _refuse(send, 405, "method_not_allowed", "GET opens the stream", {"Allow": "GET"})
        scheme, _, token = headers.get("authorization", "").partition(" ")
        found = (
            await asyncio.to_thread(_with_database, _place_of, token.strip()) if scheme.lower() == "bearer" else None
        )
        if found is None:
            return await _refuse(
                send, 401, "not_authenticated", "a bearer token is needed", {"WWW-Authenticate": "Bearer"}
            )
        if len(self._listeners) >= MOST_LISTENERS:
            return await _refuse(send, 503, "busy", "too many listeners; sync still works", {"Retry-After": "30"})
        token_id, team, revision = found
        listener = _Listener(token_id, team, told=_last_event(headers, revision), latest=revision)
        return await self._serve(listener, receive, send, head_only=scope["method"] == "HEAD")

    async def _serve(self, listener: _Listener, receive: Receive, send: Send, *, head_only: bool) -> None:
        start = [
            (b"content-type", b"text/event-stream"),
            (b"cache-control", b"no-store"),
            (b"x-accel-buffering", b"no"),
        ]
        await send({"type": "http.response.start", "status": 200, "headers": start})
        if head_only:
            await send({"type": "http.response.body", "body": b""})
            return
        self._listeners.add(listener)
        if self._watch is None or self._watch.done():
            self._watch = asyncio.create_task(self._look())
        gone = asyncio.create_task(_until_gone(receive))
        try:
            await _write(send, b"retry: 3000\n\n")
            while not (gone.done() or listener.ended):
                if listener.latest > listener.told:
                    listener.told = listener.latest
                    await _write(send, _event(listener))
                    continue
                listener.wake.clear()
                waiting = asyncio.create_task(listener.wake.wait())
                await asyncio.wait({waiting, gone}, timeout=HEARTBEAT_S, return_when=asyncio.FIRST_COMPLETED)
                if not waiting.done():
                    waiting.cancel()
                    if not gone.done():
                        await _write(send, b": still here\n\n")
            await send({"type": "http.response.body", "body": b""})
        except OSError:
            pass  # the phone went away in the middle of a word
        finally:
            gone.cancel()
            self._listeners.discard(listener)

    async def _look(self) -> None:
        """Ask for the counters once a second while anyone listens, and now and then whether the tokens still hold."""
        looks = 0
        while self._listeners:
            await asyncio.sleep(LOOK_EVERY_S)
            looks += 1
            try:
                teams = {listener.team for listener in self._listeners}
                counters = await asyncio.to_thread(_with_database, revisions_of, teams)
                alive: set[UUID] | None = None
                if looks % HEARTBEAT_S == 0:
                    tokens = {listener.token for listener in self._listeners}
                    alive = await asyncio.to_thread(_with_database, partial(valid_tokens, teams=teams), tokens)
            except Exception:  # noqa: BLE001 - a database that is away for a moment must not end every stream
                _log.warning("live table: the database did not answer", exc_info=True)
                continue
            for listener in self._listeners:
                listener.latest = max(listener.latest, counters.get(listener.team, 0))
                listener.ended = alive is not None and listener.token not in alive
                if listener.ended or listener.latest > listener.told:
                    listener.wake.set()


def _with_database(work: Callable[..., Any], *arguments: Any) -> Any:  # noqa: ANN401 - passes through
    """Work in a thread of the loop's own, and leave no connection open in it."""
    try:
        return work(*arguments)
    finally:
        connections.close_all()


def _place_of(token: str) -> tuple[UUID, UUID, int] | None:
    """Return token id, team and the team's counter."""
    found = token_by_digest(token_digest(token), now=timezone.now())
    return (found.id, found.member.team_id, found.member.team.revision) if found else None


def _last_event(headers: Mapping[str, str], revision: int) -> int:
    """Return the last cursor the phone heard of; one that never heard any hears of changes from now on."""
    text = headers.get("last-event-id", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else revision


def _event(listener: _Listener) -> bytes:
    data = json.dumps({"team": str(listener.team), "cursor": listener.told})
    return f"id: {listener.told}\nevent: changed\ndata: {data}\n\n".encode()


async def _write(send: Send, body: bytes) -> None:
    await send({"type": "http.response.body", "body": body, "more_body": True})


async def _until_gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


async def _refuse(send: Send, status: int, code: str, detail: str, headers: Mapping[str, str]) -> None:
    body = json.dumps(problem_document(status=status, code=code, title=detail, detail=detail)).encode()
    sent = {"Content-Type": MEDIA_TYPE, "Content-Length": str(len(body)), **headers}
    encoded = [(name.lower().encode(), value.encode()) for name, value in sent.items()]
    await send({"type": "http.response.start", "status": status, "headers": encoded})
    await send({"type": "http.response.body", "body": body})
