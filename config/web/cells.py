"""Passes requests on to the cell that can answer them, so that clients know one address only.

Django says in the header `ELSEWHERE` of an answer that a team lives in another cell, or that it does not know the
token, name or link of the request. Such an answer is not passed on, and the request is sent to that cell, or to each
of the others in turn, until one answers. Where a token or browser session led is remembered in this process and, of a
browser that has signed in, in a cookie. While a cell that might know does not answer, the client is asked to come
back: a phone must not be signed out by a cell that cannot know its token.

A request that another cell passes on says so in `FROM`, signed with the key that all cells share, with the client's
address. It is never passed on again: the answer with its header goes back to the cell that asked.
"""

import asyncio
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Sequence
from http.cookies import SimpleCookie
from time import perf_counter

import aiohttp
from a2wsgi.asgi_typing import HTTPResponseStartEvent, HTTPScope, Send, SendEvent
from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.utils.translation import gettext_lazy as _
from yarl import URL

from api.http.cells import ANY, ELSEWHERE
from api.http.loop_answers import header_of, send_problem
from config.web.bodies import ReceivedBody

FROM = "X-Leafspan-From"
"""Header of a request that another cell passes on: its name and the client's address, signed."""
NAME = "X-Leafspan-Cell"
"""Header of the answers to such requests: the name of the cell that answers."""
COOKIE = "leafspan_cell"
MOST_REMEMBERED, MOST_HOPS = 10_000, 3
RETRY_AFTER_S = 2
_TIMEOUT = aiohttp.ClientTimeout(total=None, connect=3.0, sock_read=60.0)
_OF_ONE_CONNECTION = frozenset(
    (b"date", b"server", b"connection", b"keep-alive", b"transfer-encoding", b"te", b"upgrade", b"trailer")
)
_PASSED_ON_BY = "leafspan.passed_on_by"
"""Key in the state of a request of the cell that passed it on; empty for a client's own."""
_HEADER = ELSEWHERE.lower().encode()


class CellAwayError(OSError):
    """A cell does not answer."""


class Cells:
    """The other cells, as one process reaches them."""

    def __init__(self) -> None:
        self._known: OrderedDict[str, str] = OrderedDict()
        """The cells to which bearer tokens have led."""
        self._client: aiohttp.ClientSession | None = None

    def receive(self, scope: HTTPScope, send: Send) -> tuple[HTTPScope, Send]:
        """Return scope and send of a request, with the cell that passed it on, if one did, and the client's address."""
        sent = header_of(scope, FROM.lower())
        headers = [pair for pair in scope["headers"] if pair[0].lower() != FROM.lower().encode()]
        try:
            cell, _space, address = _signer().unsign(sent).partition(" ")
        except BadSignature:
            return {**scope, "headers": headers, "state": _state(scope, passed_on_by="")}, send
        headers = [pair for pair in headers if pair[0].lower() != b"x-forwarded-for"]
        if settings.TRUSTED_PROXIES:
            proxies = ", ".join([address] * settings.TRUSTED_PROXIES)
            headers.append((b"x-forwarded-for", proxies.encode()))
        state = _state(scope, passed_on_by=cell)
        return {**scope, "headers": headers, "client": (address, 0), "state": state}, _naming_this_cell(send)

    async def serve(  # noqa: PLR0913 - a request and what is known of it
        self,
        serve: Callable[[Send], Awaitable[None]],
        scope: HTTPScope,
        body: ReceivedBody | None,
        send: Send,
        *,
        token: str,
        address: str,
    ) -> None:
        """Serve a request here by ``serve(send)``, or in the cell that can."""
        if scope["state"][_PASSED_ON_BY]:
            await serve(send)
            return
        request = _Request(scope, body, address=address)
        cookie = _cell_of_cookie(scope)
        answer = _Answer(send, cookie=cookie, has_session=settings.SESSION_COOKIE_NAME in _cookies(scope))
        began = perf_counter()
        try:
            first = self._known.get(token) or ("" if token else cookie)
            if first and await self._follow(request, first, answer, token=token):
                return
            await serve(answer)
            if answer.elsewhere == ANY:
                buffered = answer.take_buffered()
                if not await self._ask_all(request, answer, token=token):
                    await answer.release(buffered)
            elif answer.elsewhere is not None:
                cell = answer.elsewhere
                answer.take_buffered()
                if not await self._follow(request, cell, answer, token=token):
                    if answer.unknown_there:
                        await answer.release(answer.unknown_there)
                    else:
                        await _refuse_away(scope, send, began=began)
        except CellAwayError:
            await _refuse_away(scope, send, began=began)

    async def close(self) -> None:
        """Close the connections to the other cells."""
        if self._client is not None:
            await self._client.close()

    async def _follow(self, request: "_Request", cell: str, answer: "_Answer", *, token: str) -> bool:
        """Pass a request on to a cell, and to the one that it names; False if that leads back here or nowhere."""
        for _hop in range(MOST_HOPS):
            if cell not in settings.CELLS:
                break
            await self._send(request, cell, answer)
            if answer.elsewhere is None:
                self._remember(token, cell)
                return True
            cell = answer.elsewhere
            answer.take_buffered()
        self._known.pop(token, None)
        return False

    async def _ask_all(self, request: "_Request", answer: "_Answer", *, token: str) -> bool:
        """Pass a request on to the other cells until one can answer; raise CellAwayError if one that might cannot."""
        away: CellAwayError | None = None
        for cell in settings.CELLS:
            try:
                if await self._follow(request, cell, answer, token=token):
                    return True
            except CellAwayError as error:
                away = error
        if away is not None:
            raise away
        return False

    async def _send(self, request: "_Request", cell: str, answer: "_Answer") -> None:
        """Send a request to a cell and its answer to the client."""
        if self._client is None:
            connector = aiohttp.TCPConnector(limit=0)  # event streams keep theirs; clients are limited already
            self._client = aiohttp.ClientSession(
                connector=connector, timeout=_TIMEOUT, auto_decompress=False, cookie_jar=aiohttp.DummyCookieJar()
            )
        answer.cell = cell
        try:
            async with self._client.request(
                request.method, URL(settings.CELLS[cell] + request.target, encoded=True), headers=request.headers,
                data=request.content(), allow_redirects=False,
                skip_auto_headers=("User-Agent", "Accept", "Accept-Encoding", "Content-Type"),
            ) as response:  # fmt: skip
                headers = [(n.lower(), v) for n, v in response.raw_headers if n.lower() not in _OF_ONE_CONNECTION]
                await answer({"type": "http.response.start", "status": response.status, "headers": headers})
                async for piece in response.content.iter_any():
                    await answer({"type": "http.response.body", "body": piece, "more_body": True})
                await answer({"type": "http.response.body", "body": b""})
        except (aiohttp.ClientError, asyncio.TimeoutError) as error:  # noqa: UP041 - the same from 3.11 on
            if answer.has_begun:
                raise  # the connection is closed, and the client sees that the answer is not complete
            raise CellAwayError(cell) from error

    def _remember(self, token: str, cell: str) -> None:
        if token:
            self._known[token] = cell
            self._known.move_to_end(token)
            if len(self._known) > MOST_REMEMBERED:
                self._known.popitem(last=False)


class _Request:
    """A request as it is sent to another cell."""

    def __init__(self, scope: HTTPScope, body: ReceivedBody | None, *, address: str) -> None:
        self.method = scope["method"]
        query = scope["query_string"].decode("latin-1")
        path = (scope.get("raw_path") or scope["path"].encode()).decode("latin-1")
        self.target = f"{path}?{query}" if query else path
        kept = [pair for pair in scope["headers"] if pair[0].lower() not in _OF_ONE_CONNECTION]
        self.headers = [(name.decode("latin-1"), value.decode("latin-1")) for name, value in kept]
        self.headers.append((FROM, signed_origin(address)))
        self._body = body

    def content(self) -> bytes | None:
        """Return the body."""
        if self._body is None or not self._body.size:
            return None
        return self._body.read()


class _Answer:
    """Passes an answer on unless it says that another cell has what was asked for."""

    def __init__(self, send: Send, *, cookie: str, has_session: bool) -> None:
        self._send, self._cookie, self._has_session = send, cookie, has_session
        self._buffered: list[SendEvent] = []
        self.unknown_there: Sequence[SendEvent] = ()
        """The last answer, if it was another cell's that did not know what the request names."""
        self.cell = ""
        """The cell whose answer it is; empty for this one."""
        self.elsewhere: str | None = None
        self.has_begun = False

    async def __call__(self, message: SendEvent) -> None:
        if message["type"] == "http.response.start":
            values = [value for name, value in message["headers"] if name.lower() == _HEADER]
            self.elsewhere = values[0].decode() if values else None
        if self.elsewhere is not None:
            self._buffered.append(message)
            return
        self.has_begun = True
        await self._send(self._with_cookie(message) if message["type"] == "http.response.start" else message)

    def take_buffered(self) -> Sequence[SendEvent]:
        """Return the messages that were not passed on, and be ready for another answer."""
        buffered = self._buffered
        self.unknown_there = buffered if self.cell and self.elsewhere == ANY else ()
        self._buffered, self.elsewhere, self.cell = [], None, ""
        return buffered

    async def release(self, buffered: Sequence[SendEvent]) -> None:
        """Pass on an answer from the buffer, without its header."""
        for message in buffered:
            if message["type"] == "http.response.start":
                headers = [(name, value) for name, value in message["headers"] if name.lower() != _HEADER]
                await self({**message, "headers": headers})
            else:
                await self(message)

    def _with_cookie(self, message: HTTPResponseStartEvent) -> HTTPResponseStartEvent:
        """Have the browser say from now on in which cell its session is."""
        session = f"{settings.SESSION_COOKIE_NAME}=".encode()
        begins = any(name.lower() == b"set-cookie" and value.startswith(session) for name, value in message["headers"])
        hidden = (NAME.lower().encode(),)
        headers = [(name, value) for name, value in message["headers"] if name.lower() not in hidden]
        if (begins or self._has_session) and self.cell != self._cookie:
            cookie: SimpleCookie = SimpleCookie()
            cookie[COOKIE] = self.cell
            age_s = settings.SESSION_COOKIE_AGE if self.cell else 0
            for name, value in {"path": "/", "httponly": True, "samesite": "Lax", "max-age": age_s}.items():
                cookie[COOKIE][name] = value
            cookie[COOKIE]["secure"] = settings.SESSION_COOKIE_SECURE
            headers.append((b"set-cookie", cookie[COOKIE].OutputString().encode()))
        return {**message, "headers": headers}


def _state(scope: HTTPScope, *, passed_on_by: str) -> dict[str, object]:
    return {**scope.get("state", {}), _PASSED_ON_BY: passed_on_by}


def _naming_this_cell(send: Send) -> Send:
    async def named(message: SendEvent) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message["headers"], (NAME.lower().encode(), settings.CELL.encode())]}
        await send(message)

    return named


async def _refuse_away(scope: HTTPScope, send: Send, *, began: float) -> None:
    await send_problem(
        scope, send, status=503, code="team_moving", title=_("Service Unavailable"),
        detail=_("the server of your team does not answer now; try again in a few seconds"),
        headers={"Retry-After": str(RETRY_AFTER_S)}, route="none", began=began,
    )  # fmt: skip


def signed_origin(address: str) -> str:
    """Return what `FROM` holds for a client's address."""
    return _signer().sign(f"{settings.CELL} {address}")


def _signer() -> Signer:
    return Signer(salt="leafspan.cells")


def _cell_of_cookie(scope: HTTPScope) -> str:
    morsel = _cookies(scope).get(COOKIE)
    return morsel.value if morsel is not None and morsel.value in settings.CELLS else ""


def _cookies(scope: HTTPScope) -> SimpleCookie:
    return SimpleCookie(header_of(scope, "cookie"))
