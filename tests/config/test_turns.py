"""Whose request gets a thread: no client takes them all, and first loads leave room for small requests."""

import asyncio

import pytest
from django.test import Client

from api.http.auth import LOGIN_HEADER
from config.web import serving
from config.web.recent import LARGE_BYTES
from config.web.turns import Busy, Turns
from tests.config.asgi import AsgiRequest
from tests.factories import phone


def turns(threads=4, **limits):
    usual = {"of_client": 2, "large": 2, "most_waiting": 100, "most_waiting_of_client": 50, "wait_s": 60.0}
    return Turns(threads, **(usual | limits))


class Runner:
    """Requests that occupy their threads until they are told to end; ``running`` names them in order."""

    def __init__(self, turns):
        self.turns, self.running, self.tasks, self._end = turns, [], {}, {}

    async def begin(self, name, client, *, is_large=False):
        """Ask for a thread; it is given before this returns if there is one."""
        self._end[name] = asyncio.Event()
        self.tasks[name] = asyncio.create_task(self._run(name, client, is_large))
        await asyncio.sleep(0)
        await asyncio.sleep(0)

    async def _run(self, name, client, is_large):
        async with self.turns.turn(client, is_large=is_large):
            self.running.append(name)
            await self._end[name].wait()

    async def end(self, name):
        """Let a request end; the next has its thread before this returns."""
        self._end[name].set()
        await self.tasks[name]
        await asyncio.sleep(0)
        await asyncio.sleep(0)

    async def cancel(self, name):
        """Have the client of a request leave."""
        self.tasks[name].cancel()
        await asyncio.gather(self.tasks[name], return_exceptions=True)


def test_a_client_gets_its_share_and_others_go_past_it():
    async def scene():
        runner = Runner(turns())
        for number in range(6):
            await runner.begin(f"greedy {number}", "greedy")
        await runner.begin("small", "other")
        before = list(runner.running)
        await runner.end("greedy 0")
        return before, runner.running[3:]

    assert asyncio.run(scene()) == (["greedy 0", "greedy 1", "small"], ["greedy 2"])


def test_first_loads_of_many_phones_leave_threads_for_small_requests():
    async def scene():
        runner = Runner(turns())
        for number in range(10):
            await runner.begin(f"load {number}", f"phone {number}", is_large=True)
        await runner.begin("small", "other")
        return runner.running

    assert asyncio.run(scene()) == ["load 0", "load 1", "small"]


def test_who_leaves_while_waiting_takes_no_turn():
    async def scene():
        runner = Runner(turns(1))
        for name in ("first", "leaves", "third"):
            await runner.begin(name, name)
        await runner.cancel("leaves")
        await runner.end("first")
        return runner.running

    assert asyncio.run(scene()) == ["first", "third"]


def test_turn_of_who_leaves_as_it_is_given_goes_to_the_next():
    async def scene():
        runner = Runner(turns(1))
        async with runner.turns.turn("first", is_large=False):
            for name in ("leaves", "third"):
                await runner.begin(name, name)
        await runner.cancel("leaves")  # it has the turn, and has not woken up
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        return runner.running

    assert asyncio.run(scene()) == ["third"]


@pytest.mark.parametrize("limits", [{"most_waiting": 1}, {"most_waiting_of_client": 1}, {"wait_s": 0.05}])
def test_too_many_or_too_long_waiting_is_busy(limits):
    async def scene():
        runner = Runner(turns(1, **limits))
        for name in ("runs", "waits", "too much"):
            await runner.begin(name, "one")
        await asyncio.wait([runner.tasks["too much"]], timeout=60)
        error = runner.tasks["too much"].exception()
        for name in ("runs", "waits"):
            await runner.cancel(name)
        return type(error)

    assert asyncio.run(scene()) is Busy


def test_busy_server_says_when_to_come_again():
    def app(environ, start_response):
        start_response("200 OK", [])
        return [b""]

    async def scene():
        made = serving.WebApplication(app)
        made._turns = turns(0, wait_s=0.05)
        return await AsgiRequest(made, "/").answer()

    answer = asyncio.run(scene())
    assert (answer.status, answer.json()["type"]) == (503, "/problems/busy")
    assert int(answer.headers["retry-after"]) > 0


@pytest.mark.parametrize(("size", "is_large"), [(LARGE_BYTES, False), (LARGE_BYTES + 1, True)])
def test_sync_after_a_large_answer_counts_as_large(size, is_large):
    def app(environ, start_response):
        start_response("200 OK", [])
        return [bytes(size)]

    asked, _answers = asyncio.run(turns_asked_for(app, ["a", "a", "b"]))
    assert [large for _client, large in asked] == [False, is_large, False]


async def turns_asked_for(app, tokens):
    """Send a sync with each token, one after another; return as which client each got its turn, and the answers."""
    made = serving.WebApplication(app)
    asked = []

    class Watching(Turns):
        def turn(self, client, *, is_large):
            asked.append((client, is_large))
            return super().turn(client, is_large=is_large)

    made._turns = Watching(2, of_client=2, large=1, most_waiting=9, most_waiting_of_client=9, wait_s=60)
    answers = [
        await AsgiRequest(made, serving.SYNC, headers=[("authorization", token)] if token else ()).answer()
        for token in tokens
    ]
    return asked, answers


def test_made_up_tokens_share_the_turns_of_their_address_and_devices_those_of_their_login():
    """Each made-up token would otherwise have a share of the threads of its own."""

    def app(environ, start_response):
        valid = environ.get("HTTP_AUTHORIZATION", "").startswith("valid")
        start_response("200 OK", [(LOGIN_HEADER, "the login")] if valid else [("Content-Language", "en")])
        return [b""]

    tokens = ["made up 1", "made up 2", "", "valid 1", "valid 2", "valid 1", "valid 2", "made up 1"]
    asked, answers = asyncio.run(turns_asked_for(app, tokens))
    address = "192.0.2.1"
    assert [client for client, _large in asked] == [*[address] * 5, "the login", "the login", address]
    assert [one.headers for one in answers if LOGIN_HEADER.lower() in one.headers] == []


def test_login_is_named_to_the_web_server_for_valid_tokens_and_sessions_alone(taster):
    browser = Client()
    browser.force_login(taster.user)
    signed_in = [taster.client.get("/api/v1/me"), taster.client.get("/lots/"), browser.get("/lots/")]
    assert {one.get(LOGIN_HEADER) for one in signed_in} == {str(taster.user.id)}
    others = [phone("made up").get("/api/v1/me"), phone("made up").get("/lots/"), Client().get("/sign-in/")]
    assert {one.get(LOGIN_HEADER) for one in others} == {None}


@pytest.mark.parametrize(
    ("method", "path"), [("GET", "/api/v1/team/export"), ("POST", "/team/export/"), ("POST", "/team/import/")]
)
def test_exports_and_imports_have_threads_of_their_own(method, path):
    """More than there are threads of theirs, none of which ends, and a small request."""

    async def scene():
        made = serving.WebApplication(export_or_small)
        exports = [AsgiRequest(made, path, method=method, peer=f"192.0.2.{i}", reads=False) for i in range(10, 18)]
        small = await AsgiRequest(made, "/").answer()
        for one in exports:
            one.read_on()
        return small.body, {(await one.answer()).status for one in exports}

    def export_or_small(environ, start_response):
        start_response("200 OK", [])
        large = environ["PATH_INFO"] == path
        return [bytes(1024 * 1024)] * 6 if large else [b"small"]

    assert asyncio.run(scene()) == (b"small", {200})
