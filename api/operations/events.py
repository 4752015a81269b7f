"""Server-sent events that tell phones to pull.

``GET /api/v1/events`` with a bearer token answers ``text/event-stream``. Each event has the team's cursor as its id and
``{"team", "cursor"}`` as its data; the phone then syncs from its own cursor. A phone that reconnects with
``Last-Event-ID`` gets an event at once if it has missed something. A comment every 15 seconds keeps proxies from
closing the connection.

A listener costs one task and no thread. One query a second asks for the counters of all teams that anyone here listens
to, so writers notify nobody and no event can get lost. A slow listener gets the latest cursor when
it is ready for it, never a queue of old ones.
"""

import asyncio
import json
import logging
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from typing import ParamSpec, TypeVar
from urllib.parse import parse_qs
from uuid import UUID, uuid4

import redis
from a2wsgi.asgi_typing import HTTPScope, Receive, Send
from django.conf import settings
from django.db import connections
from django.http import JsonResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, override
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import client_network
from api.http.cells import ANY, ELSEWHERE
from api.http.languages import accepted_language
from api.http.openapi import operation
from api.http.problems import MEDIA_TYPE, TITLES, problem_document, problem_response
from api.http.query_parameters import check_parameters
from api.http.throttles import requests_of
from tastings.queries.quotas import limit_of
from tastings.wording.quotas import quota_full_text
from teams.actions.people import token_digest
from teams.errors import Invalid, Refused
from teams.queries.people import revisions_of, valid_tokens
from teams.queries.tokens import token_by_digest
from teams.stream_counts import Stream, close_stream, open_streams, renew_streams

PATH = "/api/v1/events"
POLL_INTERVAL_S = 1.0
HEARTBEAT_S = 15.0
MAX_LISTENERS = 2000
"""Most streams in one process; more are asked to come back later."""


class LiveEventsUnavailable(Refused):
    """The web server was started without what this needs."""

    status = 501
    code = "not_served"
    title = gettext_lazy("This server was started without live events")


class Events(APIView):
    """The stream as the OpenAPI document describes it; `config.asgi` serves it before a request gets here."""

    @operation(
        {(200, "text/event-stream"): OpenApiTypes.STR},
        [429, 501, 503],
        parameters=[OpenApiParameter("Last-Event-ID", str, OpenApiParameter.HEADER, description="a cursor")],
    )
    def get(self, request: Request) -> Response:  # noqa: ARG002 - the framework's shape
        """Open a stream of events: one whenever there is something to pull."""
        raise LiveEventsUnavailable(_("start the web server on config.asgi"))


P = ParamSpec("P")
R = TypeVar("R")

_log = logging.getLogger(__name__)


@dataclass(eq=False, slots=True)
class _Listener:
    """One open stream: its token and owner, the last cursor sent, and the event that wakes it."""

    token: UUID
    stream: Stream
    last_sent_cursor: int
    latest: int
    wake: asyncio.Event = field(default_factory=asyncio.Event)
    ended: bool = False


class EventStreams:
    """The listeners of one process."""

    def __init__(self) -> None:
        self._listeners: set[_Listener] = set()
        self._watch: asyncio.Task[None] | None = None

    async def __call__(self, scope: HTTPScope, receive: Receive, send: Send) -> None:
        """Serve one listener until it disconnects or its token ends."""
        headers = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}
        with override(accepted_language(headers.get("accept-language", ""))):
            try:
                await self._answer(scope, headers, receive, send)
            except Invalid as error:  # before anything was sent
                await _send_refusal(send, problem_response(error))

    async def _answer(self, scope: HTTPScope, headers: Mapping[str, str], receive: Receive, send: Send) -> None:
        if scope["method"] not in ("GET", "HEAD"):
            return await _refuse(send, 405, "method_not_allowed", _("GET opens the stream"), {"Allow": "GET"})
        scheme, _space, token = headers.get("authorization", "").partition(" ")
        stream_of_token = None
        if scheme.lower() == "bearer":
            number, wait_s = await asyncio.to_thread(requests_of.count, _counted_by(scope, headers))
            if number > settings.API_REQUESTS_PER_MINUTE:
                why = _("These were too many requests. Try again in %(seconds)d seconds.") % {"seconds": wait_s}
                return await _refuse(send, 429, "throttled", why, {"Retry-After": str(wait_s)})
            stream_of_token = await asyncio.to_thread(_run_in_thread, _token_team, token.strip())
        if stream_of_token is None:
            may_be_known = {ELSEWHERE: ANY} if settings.CELLS and token else {}
            return await _refuse(
                send, 401, "not_authenticated", _("a bearer token is needed"),
                {"WWW-Authenticate": "Bearer", **may_be_known},
            )  # fmt: skip
        if len(self._listeners) >= MAX_LISTENERS:
            return await _refuse(send, 503, "busy", _("too many listeners; sync still works"), {"Retry-After": "30"})
        check_parameters(parse_qs(scope["query_string"].decode("latin-1"), keep_blank_values=True), known=())
        token_id, stream, revision = stream_of_token
        elsewhere = await asyncio.to_thread(_run_in_thread, open_streams, stream.team)
        if (full := self._full_quota(stream, elsewhere)) is not None:
            return await _refuse(send, 429, "quota_full", full, {"Retry-After": "60"})
        listener = _Listener(token_id, stream, last_sent_cursor=_last_event(headers, revision), latest=revision)
        if scope["method"] == "HEAD":
            await _start(send)
            return await send({"type": "http.response.body", "body": b""})
        self._listeners.add(listener)  # nothing is awaited since the count, so that none slips in between
        try:
            await _count(renew_streams, [stream])
            return await self._serve(listener, receive, send)
        finally:
            self._listeners.discard(listener)
            await _count(close_stream, stream)

    def _full_quota(self, stream: Stream, elsewhere: Mapping[UUID, int]) -> str | None:
        """Return the refusal's text when the streams of the team or the login, over all processes, are at the limit."""
        here = Counter(listener.stream.user for listener in self._listeners if listener.stream.team == stream.team)
        counted = Counter({user: max(here[user], elsewhere.get(user, 0)) for user in {*here, *elsewhere}})
        for of_team, used in ((False, counted[stream.user]), (True, counted.total())):
            if used >= (limit := limit_of("streams", of_team=of_team)):
                return quota_full_text("streams", of_team=of_team, limit=limit)
        return None

    async def _serve(self, listener: _Listener, receive: Receive, send: Send) -> None:
        await _start(send)
        if self._watch is None or self._watch.done():
            self._watch = asyncio.create_task(self._poll())
        disconnected = asyncio.create_task(_wait_for_disconnect(receive))
        try:
            await _write(send, b"retry: 3000\n\n")
            while not (disconnected.done() or listener.ended):
                if listener.latest > listener.last_sent_cursor:
                    listener.last_sent_cursor = listener.latest
                    await _write(send, _event(listener))
                    continue
                listener.wake.clear()
                waiting = asyncio.create_task(listener.wake.wait())
                await asyncio.wait({waiting, disconnected}, timeout=HEARTBEAT_S, return_when=asyncio.FIRST_COMPLETED)
                if not waiting.done():
                    waiting.cancel()
                    if not disconnected.done():
                        await _write(send, b": still here\n\n")
            await send({"type": "http.response.body", "body": b""})
        except OSError:
            pass  # the phone disconnected during a write
        finally:
            disconnected.cancel()

    async def _poll(self) -> None:
        """Read the counters once a second while anyone listens, and which of the tokens concerned are still valid."""
        n_polls = 0
        while self._listeners:
            await asyncio.sleep(POLL_INTERVAL_S)
            n_polls += 1
            try:
                teams = {listener.stream.team for listener in self._listeners}
                counters = await asyncio.to_thread(_run_in_thread, revisions_of, teams)
                # now and then of all, and always of those whose team has news
                asked_about = [
                    listener
                    for listener in self._listeners
                    if n_polls % HEARTBEAT_S == 0 or counters.get(listener.stream.team, 0) > listener.latest
                ]
                alive = set[UUID]()
                if asked_about:
                    tokens = {listener.token for listener in asked_about}
                    alive = await asyncio.to_thread(_run_in_thread, partial(valid_tokens, teams=teams), tokens)
                if n_polls % HEARTBEAT_S == 0:
                    await _count(renew_streams, [listener.stream for listener in self._listeners])
            except Exception:  # noqa: BLE001 - a database that is away for a moment must not end every stream
                _log.warning("live table: the database did not answer", exc_info=True)
                continue
            for listener in asked_about:
                listener.latest = max(listener.latest, counters.get(listener.stream.team, 0))
                listener.ended = listener.token not in alive
                if listener.ended or listener.latest > listener.last_sent_cursor:
                    listener.wake.set()


async def _start(send: Send) -> None:
    headers = [(b"content-type", b"text/event-stream"), (b"cache-control", b"no-store"), (b"x-accel-buffering", b"no")]
    await send({"type": "http.response.start", "status": 200, "headers": headers})


async def _count(change: Callable[..., None], *streams: object) -> None:
    """Count streams in the broker's server; while it is away this process knows its own."""
    with suppress(redis.RedisError):
        await asyncio.to_thread(change, *streams)


def _run_in_thread(func: Callable[P, R], *args: P.args, **kwargs: P.kwargs) -> R:
    """Call a function in a thread of the loop and leave no database connection open."""
    try:
        return func(*args, **kwargs)
    finally:
        connections.close_all()


def _counted_by(scope: HTTPScope, headers: Mapping[str, str]) -> str:
    """Return the key under which streams are counted before their token is looked up: the client's address."""
    peer = str((scope.get("client") or [""])[0])
    return f"events {client_network(peer, headers.get('x-forwarded-for', ''))}"


def _token_team(token: str) -> tuple[UUID, Stream, int] | None:
    """Return token id, a new stream of its member and the team's counter."""
    device = token_by_digest(token_digest(token), now=timezone.now())
    if device is None:
        return None
    stream = Stream(uuid4(), team=device.member.team_id, user=device.member.user_id)
    return device.id, stream, device.member.team.revision


def _last_event(headers: Mapping[str, str], revision: int) -> int:
    """Return the last cursor that was sent to the phone; without Last-Event-ID only new changes are sent."""
    text = headers.get("last-event-id", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else revision


def _event(listener: _Listener) -> bytes:
    data = json.dumps({"team": str(listener.stream.team), "cursor": listener.last_sent_cursor})
    return f"id: {listener.last_sent_cursor}\nevent: changed\ndata: {data}\n\n".encode()


async def _write(send: Send, body: bytes) -> None:
    await send({"type": "http.response.body", "body": body, "more_body": True})


async def _wait_for_disconnect(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


async def _refuse(send: Send, status: int, code: str, detail: str, headers: Mapping[str, str]) -> None:
    body = problem_document(status=status, code=code, title=TITLES[status], detail=detail)
    await _send_refusal(send, JsonResponse(body, status=status, headers=headers, content_type=MEDIA_TYPE))


async def _send_refusal(send: Send, refusal: JsonResponse) -> None:
    sent = {**refusal.headers, "Content-Length": str(len(refusal.content))}
    encoded = [(name.lower().encode(), value.encode()) for name, value in sent.items()]
    await send({"type": "http.response.start", "status": refusal.status_code, "headers": encoded})
    await send({"type": "http.response.body", "body": refusal.content})
