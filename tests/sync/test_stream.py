"""A long pull as one answer: lines that can each be stored, and gone on from."""

import gzip
import json
import zlib
from datetime import datetime, timedelta

import brotli
import pytest
from django.utils import timezone

from api.sync.lines import pieces
from tests import zstd
from tests.api.phone import PHONE, post_sync, sync
from tests.api.problems import refusal
from tests.factories import InfusionFactory, LotFactory, SessionFactory
from tests.sync.test_scope import past  # noqa: F401 - a fixture

pytestmark = pytest.mark.django_db
URL = "/api/v1/sync/stream"


def lines(client, **members):
    """Return the lines of a stream, without ``now``, which each has."""
    response = client.post(URL, {"schema": 1, "device": str(PHONE), **members})
    assert response.status_code == 200
    found = [json.loads(line) for line in b"".join(response).splitlines()]
    began, *moments = [datetime.fromisoformat(page.pop("now")) for page in found]
    assert timezone.now() - timedelta(minutes=1) < began
    assert moments == sorted(moments)
    return found


def test_lines_are_the_pages_of_a_pull(taster, past):  # noqa: F811
    for scope in ({}, {"scope": {"days": 30}}):
        pages = lines(taster.client, limit=2, **scope)
        assert (len(pages) > 3, [page["more"] for page in pages[-2:]]) == (True, [True, False])
        whole = sync(taster.client, **scope)
        assert [one for page in pages for one in page["changes"]] == whole["changes"]
        assert {**pages[-1], "changes": whole["changes"]} == {name: whole[name] for name in pages[-1]}


def test_stream_goes_on_after_any_line(taster, past):  # noqa: F811
    sync_all = sync(taster.client)
    scope = {"scope": {"days": 30}, "limit": 2}
    pages = lines(taster.client, **scope, cursor=sync_all["cursor"])
    for number, page in enumerate(pages[:-1], start=1):
        rest = lines(taster.client, **scope, cursor=page["cursor"], scope_token=page["scope_token"])
        assert rest == pages[number:]


def test_stream_is_compressed_and_is_the_teams_own(taster, stranger):
    session = SessionFactory(lot=LotFactory(team=stranger.team))
    InfusionFactory(session=session)
    body = {"schema": 1, "device": str(PHONE)}
    response = taster.client.post(URL, body, HTTP_ACCEPT_ENCODING="gzip")
    assert (response["Content-Encoding"], response["Content-Type"]) == ("gzip", "application/x-ndjson")
    page = json.loads(gzip.decompress(b"".join(response)))
    assert {one["type"] for one in page["changes"]} == {"shop", "member"}


def test_stream_takes_no_changes_and_no_foreign_cursor(taster):
    sent = {"schema": 1, "device": str(PHONE)}
    assert refusal(taster.client.post(URL, {**sent, "changes": []})) == (422, "invalid", {("changes", "unknown_field")})
    assert taster.client.post(URL, {**sent, "cursor": 10**6}).status_code == 410
    assert taster.client.post(URL, {**sent, "schema": 99}).status_code == 409


def test_stream_ends_before_its_reader_could_hold_up_a_thread(taster, past, monkeypatch):  # noqa: F811
    whole = lines(taster.client, limit=2)
    monkeypatch.setattr("api.sync.lines.MOST_BYTES", 1000)
    pages = lines(taster.client, limit=2)
    assert (1 < len(pages) < len(whole), pages[-1]["more"]) == (True, True)
    assert pages == whole[: len(pages)]


@pytest.mark.parametrize("how", ["sign out", "leave"])
def test_stream_ends_when_its_member_leaves_or_its_device_is_signed_out(owner, taster, past, how):  # noqa: F811
    sent = {"schema": 1, "device": str(PHONE), "limit": 2}
    stream = iter(taster.client.post(URL, sent))
    assert json.loads(next(stream))["more"] is True
    if how == "leave":
        assert owner.client.delete(f"/api/v1/members/{taster.user.id}/").status_code == 204
    else:
        assert taster.client.delete("/api/v1/auth/tokens/current/").status_code == 204
    assert list(stream) == []
    assert taster.client.post(URL, sent).status_code == 401


def test_stream_goes_on_when_its_member_gets_another_role(owner, taster, past):  # noqa: F811
    whole = lines(taster.client, limit=2)
    stream = iter(taster.client.post(URL, {"schema": 1, "device": str(PHONE), "limit": 2}))
    pages = [json.loads(next(stream))]
    assert owner.client.patch(f"/api/v1/members/{taster.user.id}/", {"role": "viewer"}).status_code == 200
    pages += [json.loads(line) for line in stream]
    found = {one["id"]: one for page in pages for one in page["changes"]}
    assert found.keys() == {one["id"] for page in whole for one in page["changes"]}
    assert found[str(taster.user.id)]["fields"]["role"] == "viewer"


@pytest.mark.parametrize(
    ("coding", "unpack"),
    [
        ("identity", bytes),
        ("gzip", zlib.decompressobj(wbits=31).decompress),
        ("br", brotli.Decompressor().process),
        ("zstd", zstd.ZstdDecompressor().decompress),
    ],
)
def test_each_line_is_complete_in_its_compressed_piece(coding, unpack):
    sent = [b"a" * 100 + b"\n", b"b\n"]
    first, second, *end = pieces(sent, coding)
    assert [unpack(first), unpack(second)] == sent
    assert [unpack(piece) for piece in end] in ([], [b""])


def test_without_nulls_a_field_that_is_left_out_is_null(taster, past):  # noqa: F811
    answers = [post_sync(taster.client, nulls=nulls).json()["changes"] for nulls in (True, False)]
    full, bare = ({one["id"]: one["fields"] for one in changes} for changes in answers)
    assert bare == {i: {name: v for name, v in fields.items() if v is not None} for i, fields in full.items()}
    assert full != bare
    assert [page["changes"] for page in lines(taster.client, nulls=False)] == [answers[1]]
    assert refusal(post_sync(taster.client, nulls=1))[2] == {("nulls", "type")}
