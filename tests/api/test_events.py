"""The live table: listeners receive changes of their own team and no others."""

import asyncio
import json
import time

import pytest
from django.db import connections
from django.utils.translation import gettext, override

from api.http.throttles import requests_of
from api.operations import events
from api.operations.events import EventStreams
from teams.models import DeviceToken
from tests.api.phone import change, sync
from tests.factories import TeamFactory, person

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    monkeypatch.setattr(events, "POLL_INTERVAL_S", 0.05)
    monkeypatch.setattr(events, "HEARTBEAT_S", 0.5)


class Stream:
    """One phone's open stream."""

    def __init__(self, table, token=None, *, last=None, method="GET", language=None, peer="192.0.2.1", query=b""):
        headers = [(b"authorization", f"Bearer {token}".encode())] if token else []
        headers += [(b"last-event-id", str(last).encode())] if last is not None else []
        headers += [(b"accept-language", language.encode())] if language else []
        scope = {"type": "http", "method": method, "path": events.PATH, "query_string": query,
                 "headers": headers, "client": (peer, 5000)}  # fmt: skip
        self.sent, self._gone, self._more = [], asyncio.Event(), asyncio.Event()
        self.task = asyncio.create_task(table(scope, self._receive, self._send))

    async def _receive(self):
        await self._gone.wait()
        return {"type": "http.disconnect"}

    async def _send(self, message):
        self.sent.append(message)
        self._more.set()

    @property
    def text(self):
        return b"".join(message.get("body", b"") for message in self.sent).decode()

    @property
    def cursors(self):
        return [json.loads(line.removeprefix("data: "))["cursor"] for line in self.text.splitlines() if "data:" in line]

    async def until(self, true, seconds=20):
        async with asyncio.timeout(seconds):
            while not true():
                self._more.clear()
                if not true():
                    await self._more.wait()

    async def open(self):
        await self.until(lambda: "retry" in self.text)
        return self

    async def hang_up(self):
        self._gone.set()
        async with asyncio.timeout(20):
            await self.task


async def elsewhere(work, *arguments):
    """Do what blocks in a thread, and leave no connection open in it."""

    def done():
        try:
            return work(*arguments)
        finally:
            connections.close_all()

    return await asyncio.to_thread(done)


def pushed(who):
    return sync(who.client, [change("lot", name="Mist Ridge", kind="oolong")], cursor=who.member.team.revision)


def test_the_other_phones_hear_of_a_change_and_other_teams_do_not():
    team = TeamFactory()
    writer, listener, stranger = person(team, "taster"), person(team, "viewer"), person(TeamFactory(), "owner")
    team.refresh_from_db()
    before = team.revision

    async def scene():
        table = EventStreams()
        ours, theirs = await Stream(table, listener.token).open(), await Stream(table, stranger.token).open()
        await elsewhere(pushed, writer)
        await ours.until(lambda: ours.cursors == [before + 1])
        await theirs.until(lambda: "still here" in theirs.text)
        assert theirs.cursors == []
        await ours.hang_up()
        await theirs.hang_up()
        return ours.text

    text = asyncio.run(scene())
    changed = f'id: {before + 1}\nevent: changed\ndata: {{"team": "{team.id}", "cursor": {before + 1}}}\n\n'
    assert changed in text


def test_a_phone_that_comes_back_hears_at_once_what_it_missed():
    who = person(TeamFactory(), "taster")
    before = pushed(who)["cursor"]
    now = pushed(who)["cursor"]
    assert now == before + 1

    async def scene():
        table = EventStreams()
        late = Stream(table, who.token, last=before)
        await late.until(lambda: late.cursors == [now])
        current = await Stream(table, who.token, last=now).open()
        await current.until(lambda: "still here" in current.text)
        assert current.cursors == []
        await late.hang_up()
        await current.hang_up()

    asyncio.run(scene())


def test_a_stream_ends_with_its_token():
    who = person(TeamFactory(), "taster")

    async def scene():
        stream = await Stream(EventStreams(), who.token).open()
        await elsewhere(DeviceToken.objects.all().delete)
        async with asyncio.timeout(20):
            await stream.task
        assert stream.sent[-1] == {"type": "http.response.body", "body": b""}

    asyncio.run(scene())


def test_change_after_a_token_ended_is_not_told_any_more(monkeypatch):
    monkeypatch.setattr(events, "HEARTBEAT_S", 1000)  # so that it is the change which ends the stream
    team = TeamFactory()
    writer, listener = person(team, "taster"), person(team, "viewer")

    def removed_then_pushed():
        DeviceToken.objects.filter(id=listener.device.id).delete()
        pushed(writer)

    async def scene():
        table = EventStreams()
        gone, stays = await Stream(table, listener.token).open(), await Stream(table, writer.token).open()
        await elsewhere(removed_then_pushed)
        async with asyncio.timeout(20):
            await gone.task
        await stays.until(lambda: len(stays.cursors) == 1)
        await stays.hang_up()
        return gone.cursors

    assert asyncio.run(scene()) == []


@pytest.mark.parametrize(
    ("token", "method", "status"), [(None, "GET", 401), ("wrong", "GET", 401), (None, "POST", 405)]
)
def test_who_is_not_signed_in_hears_nothing(token, method, status):
    async def scene():
        stream = Stream(EventStreams(), token, method=method)
        await stream.task
        return stream

    stream = asyncio.run(scene())
    assert stream.sent[0]["status"] == status
    assert json.loads(stream.text)["status"] == status
    assert json.loads(stream.text)["title"] == {401: "Unauthorized", 405: "Method Not Allowed"}[status]


def test_streams_with_made_up_tokens_are_counted_by_address_before_the_tokens_are_looked_up(settings, monkeypatch):
    """Each look-up takes a thread and a new connection to the database."""
    settings.API_REQUESTS_PER_MINUTE = 2
    now, looked_up = time.time(), []
    monkeypatch.setattr(requests_of, "_clock", lambda: now)
    monkeypatch.setattr(events, "_token_team", looked_up.append)

    async def scene():
        streams = [Stream(EventStreams(), f"made up {i}", peer="192.0.2.77") for i in range(3)]
        for stream in streams:
            await stream.task
        return streams

    streams = asyncio.run(scene())
    assert sorted(stream.sent[0]["status"] for stream in streams) == [401, 401, 429]
    assert len(looked_up) == 2


def test_stream_has_no_query_parameters():
    who = person(TeamFactory(), "taster")

    async def scene():
        stream = Stream(EventStreams(), who.token, language="de", query=b"cursor=7")
        await stream.task
        return stream

    stream = asyncio.run(scene())
    body, headers = json.loads(stream.text), dict(stream.sent[0]["headers"])
    assert (stream.sent[0]["status"], body["type"]) == (422, "/problems/invalid")
    assert [(one["field"], one["code"]) for one in body["problems"]] == [("cursor", "unknown_filter")]
    assert headers[b"content-type"] == b"application/problem+json"
    assert int(headers[b"content-length"]) == len(stream.text.encode())
    with override("de"):
        assert body["title"] == gettext("Some fields are not valid")


def test_refused_stream_follows_accept_language():
    async def scene():
        streams = [Stream(EventStreams(), language=language) for language in (None, "de-AT")]
        for stream in streams:
            await stream.task
        return [json.loads(stream.text)["detail"] for stream in streams]

    english, german = asyncio.run(scene())
    assert english == "a bearer token is needed"
    with override("de"):
        assert german == gettext("a bearer token is needed")


def test_more_listeners_than_fit_are_asked_to_come_back(monkeypatch):
    monkeypatch.setattr(events, "MAX_LISTENERS", 1)
    who = person(TeamFactory(), "taster")

    async def scene():
        table = EventStreams()
        first = await Stream(table, who.token).open()
        second = Stream(table, who.token)
        await second.task
        await first.hang_up()
        third = await Stream(table, who.token).open()  # the place is free again
        await third.hang_up()
        return second.sent[0]

    refused = asyncio.run(scene())
    assert refused["status"] == 503
    assert (b"retry-after", b"30") in refused["headers"]


def test_without_an_event_loop_the_address_says_so(db):
    who = person(TeamFactory(), "taster")
    assert who.client.get(events.PATH).status_code == 501
