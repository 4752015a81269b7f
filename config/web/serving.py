"""What happens to a request on the event loop: receive its body, wait for a thread, pass the answer on."""

import re
from collections.abc import Awaitable, Callable, Iterable
from functools import partial
from time import perf_counter

from a2wsgi.asgi_typing import HTTPScope, Receive, Scope, Send
from django.conf import settings
from django.db import Error as DatabaseError
from django.utils.translation import gettext_lazy as _

from api.http.auth import client_network
from api.http.cells import ELSEWHERE, TeamMoved, TeamMoving, cell_refusal
from api.http.database_away import is_database_away
from api.http.loop_answers import header_of, send_problem
from api.operations import events, health
from config.web.bodies import LIMITS, BodyTooLarge, PiecesTooSmall, ReceivedBody, SenderDisconnected, discard
from config.web.cells import Cells
from config.web.clients import KnownClients
from config.web.documents import DocumentWaits
from config.web.heads import without_body
from config.web.recent import RecentlyLarge
from config.web.threads import Threaded
from config.web.transfers import Full, Transfers
from config.web.turns import Busy, Turns

THREADS, LONG_THREADS = 4, 2
"""Requests served at a time by one process, and those that run for long."""
LONG = {
    ("GET", "/api/v1/team/export"),
    ("POST", "/team/export"),
    ("POST", "/team/import"),
    ("POST", "/api/v1/sync/stream"),
}
"""Exports, which hold a snapshot of the database, imports of spreadsheets, first pulls."""
SYNC = "/api/v1/sync"
RETRY_AFTER_S = 5
_NO_ROUTE = "none"
_CLOSE = {"Connection": "close"}
_SESSION = re.compile(rf"(?:^|;\s*){settings.SESSION_COOKIE_NAME}=([^;]+)")


class WebApplication:
    """One process's web server behind the connections."""

    def __init__(self, app: Callable[..., Iterable[bytes]], *, threads: int = THREADS) -> None:
        self._bodies = Transfers(LIMITS)
        self._threaded = Threaded(app, workers=threads)
        self._long = Threaded(app, workers=LONG_THREADS)
        share = max(1, threads // 2)
        self._turns = Turns(
            threads, of_client=share, large=share, most_waiting=1000, most_waiting_of_client=100, wait_s=30.0
        )
        self._long_turns = Turns(
            LONG_THREADS, of_client=1, large=LONG_THREADS, most_waiting=20, most_waiting_of_client=2, wait_s=30.0
        )
        self._large = RecentlyLarge()
        self._clients = KnownClients()
        self._cells = Cells()
        self._documents = DocumentWaits()
        self._events = events.EventStreams()
        self._health = health.Health()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            await self._threaded(scope, receive, send)
            return
        if scope["method"] == "HEAD":
            send = without_body(send)
        if settings.CELLS:
            scope, send = self._cells.receive(scope, send)
        if _path(scope) in health.PATHS:
            await self._health(scope, receive, send)
        elif _path(scope) == events.PATH:
            await self._among_cells(partial(self._live, scope, receive), scope, None, send)
        else:
            await self._ordinary(scope, receive, send)

    async def _live(self, scope: HTTPScope, receive: Receive, send: Send) -> None:
        began = perf_counter()
        try:
            await self._events(scope, receive, send)
        except DatabaseError as error:
            if (refused := cell_refusal(error)) is not None:
                await _refuse_elsewhere(scope, send, refused, began=began)
                return
            if not is_database_away(error):
                raise
            await _refuse_busy(scope, send, began=began)

    async def _among_cells(
        self, serve: Callable[[Send], Awaitable[None]], scope: HTTPScope, body: ReceivedBody | None, send: Send
    ) -> None:
        """Serve a request here by ``serve(send)`` or, beside other cells, in the one that can."""
        if not settings.CELLS:
            await serve(send)
            return
        await self._cells.serve(
            serve, scope, body, send, token=header_of(scope, "authorization"), address=_address(scope)
        )

    async def _ordinary(self, scope: HTTPScope, receive: Receive, send: Send) -> None:
        """Serve a request by Django."""
        began = perf_counter()
        address = _address(scope)
        body = ReceivedBody(self._bodies)
        try:
            if _has_body(scope):
                if not await self._receive(scope, receive, send, body, address=address, began=began):
                    return
                scope = _with_length(scope, body.size)
            try:
                serve = partial(self._serve, scope, body, address=address)
                await self._among_cells(serve, scope, body, send)
            except Busy:
                await _refuse_busy(scope, send, began=began)
        finally:
            body.close()

    async def _receive(  # noqa: PLR0913 - a request and what is known of it
        self, scope: HTTPScope, receive: Receive, send: Send, body: ReceivedBody, *, address: str, began: float
    ) -> bool:
        """Receive the body; False if the client left or was refused."""
        refuse = partial(send_problem, scope, send, route=_NO_ROUTE, began=began, headers=_CLOSE)
        declared = header_of(scope, "content-length")
        try:
            await body.take(receive, client=address, declared=int(declared) if declared.isdigit() else 0)
        except SenderDisconnected:
            pass
        except BodyTooLarge:
            detail = _("no address here takes more than 4 MiB; nothing of this was read")
            await refuse(status=413, code="too_large", title=_("Request Entity Too Large"), detail=detail)
            await discard(receive)
        except PiecesTooSmall:
            detail = _("the body comes in too many small pieces; nothing was applied")
            await refuse(status=400, code="bad_request", title=_("Bad Request"), detail=detail)
        except TimeoutError:
            detail = _("the body came too slowly; nothing was applied, send it again")
            await refuse(status=408, code="too_slow", title=_("Request Timeout"), detail=detail)
        except Full:
            await _refuse_busy(scope, send, began=began, headers=_CLOSE)
        else:
            return True
        return False

    async def _serve(self, scope: HTTPScope, body: ReceivedBody, send: Send, *, address: str) -> None:
        credential = _credential(scope)
        client = self._clients.login_of(credential) or address
        send = self._clients.watching(credential, send)
        if (scope["method"], _path(scope)) in LONG:
            async with self._long_turns.turn(client, is_large=False):
                await self._long.serve(scope, body.file, send, client=address)
            return
        is_sync = _path(scope) == SYNC

        async def serve(send: Send) -> None:
            body.rewind()
            async with self._turns.turn(client, is_large=is_sync and self._large.has(credential or address)):
                await self._threaded.serve(scope, body.file, send, client=address)

        if is_sync:
            send = self._large.watching(credential or address, send)
        await self._documents.serve(serve, send)


def _address(scope: HTTPScope) -> str:
    """Return the client's network."""
    return client_network(str((scope.get("client") or [""])[0]), header_of(scope, "x-forwarded-for"))


def _path(scope: HTTPScope) -> str:
    """Return the path; addresses are the same with a slash at the end."""
    return str(scope["path"]).removesuffix("/")


def _has_body(scope: HTTPScope) -> bool:
    return header_of(scope, "content-length") not in ("", "0") or bool(header_of(scope, "transfer-encoding"))


def _with_length(scope: HTTPScope, size: int) -> HTTPScope:
    """Return the scope of a request whose body is here: a body sent in chunks has a length, as Django asks for."""
    framing = (b"content-length", b"transfer-encoding")
    others = [(name, value) for name, value in scope["headers"] if name.lower() not in framing]
    return {**scope, "headers": [*others, (b"content-length", str(size).encode())]}


def _credential(scope: HTTPScope) -> str:
    """Return the token or session that a request comes with, valid or not; else nothing."""
    session = _SESSION.search(header_of(scope, "cookie"))
    return header_of(scope, "authorization") or (session[1] if session else "")


async def _refuse_elsewhere(scope: HTTPScope, send: Send, refused: TeamMoving | TeamMoved, *, began: float) -> None:
    wait = {"Retry-After": str(refused.wait_s)} if refused.wait_s is not None else {}
    where = {ELSEWHERE: refused.cell} if isinstance(refused, TeamMoved) else {}
    await send_problem(
        scope, send, status=refused.status, code=refused.code, title=refused.title,
        detail=refused.title, headers={**wait, **where}, route=_NO_ROUTE, began=began,
    )  # fmt: skip


async def _refuse_busy(scope: HTTPScope, send: Send, *, began: float, headers: dict[str, str] | None = None) -> None:
    await send_problem(
        scope, send, status=503, code="busy", title=_("Service Unavailable"),
        detail=_("the server cannot answer this now; try again in a few seconds"),
        headers={"Retry-After": str(RETRY_AFTER_S), **(headers or {})}, route=_NO_ROUTE, began=began,
    )  # fmt: skip
