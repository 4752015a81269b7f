"""How a web server passes requests on to other cells; those are small servers that answer as a cell does."""

import asyncio
from http.cookies import SimpleCookie

import pytest
from aiohttp import web
from django.core.exceptions import ImproperlyConfigured

from config.cell_settings import cell_settings
from config.web.bodies import LIMITS, ReceivedBody
from config.web.cells import COOKIE, FROM, NAME, Cells, signed_origin
from config.web.transfers import Transfers


class OtherCell:
    """A web server on a free port that answers as instructed and notes what it was sent."""

    def __init__(self):
        self.sent, self.headers, self.status = [], {"X-Test": "other"}, 200
        self._runner = None

    async def start(self):
        application = web.Application()
        application.router.add_route("*", "/{path:.*}", self._answer)
        self._runner = web.AppRunner(application)
        await self._runner.setup()
        site = web.TCPSite(self._runner, "127.0.0.1", 0)
        await site.start()
        return f"http://127.0.0.1:{self._runner.addresses[0][1]}"

    async def stop(self):
        await self._runner.cleanup()

    async def _answer(self, request):
        self.sent.append((request.method, request.raw_path, request.headers, await request.read()))
        return web.Response(status=self.status, headers=self.headers, body=b"from the other cell")


class Asked:
    """One request to cell a, and what this cell says to it."""

    def __init__(self, cells, *, here, headers=(), body=b""):
        self.cells, self.here, self.body = cells, here, body
        self.asked_here, self.status, self.headers, self.answer = 0, None, [], b""
        pairs = [(name.lower().encode(), value.encode()) for name, value in headers]
        self.scope = {"type": "http", "method": "POST" if body else "GET", "path": "/x", "raw_path": b"/x%20y",
                      "query_string": b"a=1", "headers": pairs, "client": ("192.0.2.1", 1)}  # fmt: skip

    async def _serve(self, send):
        self.asked_here += 1
        status, headers = self.here
        encoded = [(name.lower().encode(), value.encode()) for name, value in headers.items()]
        await send({"type": "http.response.start", "status": status, "headers": encoded})
        await send({"type": "http.response.body", "body": b"from here"})

    async def _take(self, message):
        if message["type"] == "http.response.start":
            self.status, self.headers = message["status"], dict(message["headers"])
        else:
            self.answer += message.get("body", b"")

    async def result(self):
        scope, send = self.cells.receive(self.scope, self._take)
        body = ReceivedBody(Transfers(LIMITS))
        if self.body:
            pieces = [{"type": "http.request", "body": self.body, "more_body": False}]

            async def receive():
                return pieces.pop()

            await body.take(receive, client="192.0.2.1")
        token = dict(scope["headers"]).get(b"authorization", b"").decode()
        await self.cells.serve(self._serve, scope, body, send, token=token, address=scope["client"][0])
        body.close()
        self.scope = scope
        return self


def among_cells(settings, scene):
    """Run ``scene(cells, other)`` as cell a beside another."""

    async def run():
        other, cells = OtherCell(), Cells()
        settings.CELL, settings.CELLS = "a", {"b": await other.start()}
        try:
            await scene(cells, other)
        finally:
            await cells.close()
            await other.stop()

    asyncio.run(run())


MOVED, UNKNOWN = (421, {"X-Leafspan-Elsewhere": "b"}), (401, {"X-Leafspan-Elsewhere": "any"})
FOUND: tuple[int, dict[str, str]] = (200, {})


def test_what_this_cell_can_answer_is_passed_on_to_nobody(settings):
    async def scene(cells, other):
        asked = await Asked(cells, here=FOUND).result()
        assert (asked.status, asked.answer, other.sent) == (200, b"from here", [])

    among_cells(settings, scene)


@pytest.mark.parametrize("here", [MOVED, UNKNOWN])
def test_a_request_goes_whole_to_the_cell_that_can_answer_and_the_next_at_once(settings, here):
    async def scene(cells, other):
        bearer = [("Authorization", "Bearer t"), ("Content-Type", "application/json"), ("Content-Length", "2")]
        asked = await Asked(cells, here=here, headers=bearer, body=b"{}").result()
        assert (asked.status, asked.answer) == (200, b"from the other cell")
        [(method, path, headers, body)] = other.sent
        assert (method, path, body) == ("POST", "/x%20y?a=1", b"{}")
        assert headers["authorization"] == "Bearer t"
        again = await Asked(cells, here=here, headers=bearer[:1]).result()
        assert (again.asked_here, again.answer) == (0, b"from the other cell")

    among_cells(settings, scene)


def test_what_nobody_knows_is_answered_here_without_a_word_of_other_cells(settings):
    async def scene(cells, other):
        other.status, other.headers = 401, {"X-Leafspan-Elsewhere": "any"}
        asked = await Asked(cells, here=UNKNOWN).result()
        assert (asked.status, asked.answer, asked.headers) == (401, b"from here", {})
        assert len(other.sent) == 1

    among_cells(settings, scene)


@pytest.mark.parametrize("here", [MOVED, UNKNOWN])
def test_a_cell_that_does_not_answer_signs_nobody_out(settings, here):
    async def scene(cells, other):
        await other.stop()
        asked = await Asked(cells, here=here, headers=[("Authorization", "Bearer t")]).result()
        assert (asked.status, asked.headers[b"retry-after"]) == (503, b"2")
        await other.start()

    among_cells(settings, scene)


def test_what_the_cell_of_a_team_does_not_know_is_answered_as_it_answers(settings):
    async def scene(cells, other):
        other.status, other.headers = 401, {"X-Leafspan-Elsewhere": "any"}
        asked = await Asked(cells, here=MOVED, headers=[("Authorization", "Bearer revoked")]).result()
        assert (asked.status, asked.answer) == (401, b"from the other cell")
        assert b"x-leafspan-elsewhere" not in asked.headers

    among_cells(settings, scene)


def test_a_browser_whose_session_moved_says_so_from_then_on(settings):
    async def scene(cells, other):
        other.headers = {}
        asked = await Asked(cells, here=UNKNOWN, headers=[("Cookie", "sessionid=s")]).result()
        assert SimpleCookie(asked.headers[b"set-cookie"].decode())[COOKIE].value == "b"
        unsigned = await Asked(cells, here=UNKNOWN).result()
        assert b"set-cookie" not in unsigned.headers

    among_cells(settings, scene)


def test_a_team_that_came_back_is_served_here(settings):
    async def scene(cells, other):
        token = [("Authorization", "Bearer t")]
        await Asked(cells, here=MOVED, headers=token).result()
        other.status, other.headers = 421, {"X-Leafspan-Elsewhere": "a"}
        asked = await Asked(cells, here=FOUND, headers=token).result()
        assert asked.answer == b"from here"

    among_cells(settings, scene)


def test_a_browser_that_signs_in_elsewhere_says_so_from_then_on(settings):
    async def scene(cells, other):
        other.headers = {"Set-Cookie": "sessionid=s; Path=/"}
        asked = await Asked(cells, here=UNKNOWN).result()
        cookie = SimpleCookie(asked.headers[b"set-cookie"].decode())  # the last of two
        assert cookie[COOKIE].value == "b"
        other.headers = {}
        later = await Asked(cells, here=FOUND, headers=[("Cookie", f"{COOKIE}=b; sessionid=s")]).result()
        assert (later.asked_here, later.answer) == (0, b"from the other cell")
        other.headers = {"X-Leafspan-Elsewhere": "any"}
        here = (302, {"Set-Cookie": "sessionid=n; Path=/"})
        back = await Asked(cells, here=here, headers=[("Cookie", f"{COOKIE}=b; sessionid=s")]).result()
        assert SimpleCookie(back.headers[b"set-cookie"].decode())[COOKIE]["max-age"] == "0"

    among_cells(settings, scene)


def test_a_request_that_a_cell_passes_on_keeps_its_client_and_is_not_passed_on_again(settings):
    async def scene(cells, other):
        settings.CELL = "b"
        sent = [(FROM, signed_origin("203.0.113.9"))]
        settings.CELL = "a"
        asked = await Asked(cells, here=MOVED, headers=sent).result()
        assert asked.scope["client"][0] == "203.0.113.9"
        assert (asked.headers[b"x-leafspan-elsewhere"], asked.headers[NAME.lower().encode()]) == (b"b", b"a")
        assert other.sent == []
        forged = await Asked(cells, here=FOUND, headers=[(FROM, "b 203.0.113.9:forged")]).result()
        assert forged.scope["client"][0] == "192.0.2.1"
        assert forged.headers == {}

    among_cells(settings, scene)


def test_the_environment_names_the_cells():
    both = "a=http://10.0.0.1:8000,b=https://b.example/"
    assert cell_settings({}) == ("", {})
    assert cell_settings({"LEAFSPAN_CELL": "a", "LEAFSPAN_CELLS": both}) == ("a", {"b": "https://b.example"})
    for own, cells in [("c", both), ("", both), ("a", "a=10.0.0.1"), ("a", "a=http://x,B c=http://y"), ("a", "a")]:
        with pytest.raises(ImproperlyConfigured):
            cell_settings({"LEAFSPAN_CELL": own, "LEAFSPAN_CELLS": cells})
