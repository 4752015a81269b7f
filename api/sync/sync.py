"""Push and pull in one round trip, and the first pull as one stream."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING

import msgspec
from django.http import HttpResponse, StreamingHttpResponse
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.views import APIView

from api.http.auth import device_token, member_of
from api.http.bodies import body_of
from api.http.examples import STREAM_EXAMPLES, SYNC_EXAMPLES
from api.http.openapi import operation
from api.http.renderers import json_or
from api.operations.metrics import count_verdicts
from api.sync.body import STREAM_KEYS, SyncRequest, read_body
from api.sync.echo import SyncAnswer, SyncPage, fields_of, without_echo
from api.sync.lines import LINES, stream_of_lines
from api.sync.schema_versions import SchemaVersion
from api.sync.serializers import (
    MAX_LIMIT,
    StreamBodySerializer,
    SyncAnswerSerializer,
    SyncBodySerializer,
    SyncPageSerializer,
)
from lots.schema import format_utc
from tastings.actions.push import push
from tastings.jobs import DelayedJobs, delayed_jobs
from tastings.queries.pull import PulledPage, pull
from teams.actions.people import check_cursor, check_page
from teams.errors import StartAgain
from teams.queries.people import valid_tokens
from teams.replica import counter_of, read_from_replica
from teams.row_security import acting_for

if TYPE_CHECKING:
    from teams.models import DeviceToken, Member


class AnswerThenJobs(HttpResponse):
    """An answer that does not wait for the broker: once it is handed over, it sends jobs."""

    def __init__(self, content: bytes, *, jobs: DelayedJobs) -> None:
        super().__init__(content, content_type="application/json")
        self._jobs = jobs

    def close(self) -> None:
        """End the request."""
        super().close()
        self._jobs.send()


class Sync(APIView):
    """A phone's changes in, one verdict each; everything new to it out."""

    @operation({200: SyncAnswerSerializer}, [409, 410, 503], request=SyncBodySerializer, examples=SYNC_EXAMPLES)
    def post(self, request: Request) -> HttpResponse:
        """Push changes and pull what is new: the answer has what changed after the cursor, one's own included."""
        with delayed_jobs() as jobs:
            answer = _sync(request)
        return AnswerThenJobs(msgspec.json.encode(answer), jobs=jobs)


def _sync(request: Request) -> SyncAnswer:
    member, now = member_of(request), timezone.now()
    body = body_of(request)
    sent = read_body(body)
    check_cursor(device_token(request), cursor=sent.cursor, now=now)
    changes = [sent.version.upgrade(change) for change in sent.changes]
    pushed = push(member, device=sent.device, sent=changes, now=now)
    count_verdicts(pushed.verdicts)

    def read() -> PulledPage:
        return pull(
            member, cursor=sent.cursor, limit=sent.limit, scope=sent.scope_at(now), token=sent.scope_token,
            written=pushed.written,
        )  # fmt: skip

    # After a push no replica has caught up yet, so it is not even asked.
    page = read() if changes else read_from_replica(read, state=counter_of(member.team_id))
    if pushed.written is None or sent.cursor < pushed.written.after:  # else there was nothing that could be pruned
        check_page(device_token(request), cursor=sent.cursor)
    answer: SyncAnswer = {
        **page_answer(page, sent.version, nulls=sent.nulls),
        "verdicts": [verdict.as_json() for verdict in pushed.verdicts],
        "now": format_utc(now),
    }
    return answer if sent.echo else without_echo(answer, sent=sent.changes)


class SyncStream(APIView):
    """A long pull, such as the first one, as one answer."""

    renderer_classes = json_or(LINES)

    @operation({(200, LINES): SyncPageSerializer}, [409, 410], request=StreamBodySerializer, examples=STREAM_EXAMPLES)
    def post(self, request: Request) -> StreamingHttpResponse:
        """Return what is new after the cursor, a page of JSON in each line, up to about 2 MiB as sent.

        A client stores each complete line in one step, with its cursor and scope token; when the connection breaks, it
        asks again with those of the last one. It does so as well while `more` of the last line is true.
        """
        member, now = member_of(request), timezone.now()
        body = body_of(request)
        sent = read_body(body, known=STREAM_KEYS, default_limit=MAX_LIMIT)
        check_cursor(device_token(request), cursor=sent.cursor, now=now)
        return stream_of_lines(request, _lines(member, device_token(request), sent, now=now))


def _lines(member: "Member", device: "DeviceToken", sent: SyncRequest, *, now: datetime) -> Iterator[bytes]:
    """Yield a line for each page; the request has ended for Django, so the team is acted for here.

    When tombstones are pruned or the device is signed out meanwhile, the lines end early: the client's next request is
    answered 410 or 401.
    """
    cursor, token, scope, has_more = sent.cursor, sent.scope_token, sent.scope_at(now), True
    while has_more:
        with acting_for(member.team_id):
            page = read_from_replica(
                partial(pull, member, cursor=cursor, limit=sent.limit, scope=scope, token=token),
                state=counter_of(member.team_id),
            )
            try:
                check_page(device, cursor=cursor)
            except StartAgain:
                return
        if not valid_tokens([device.id], teams=[member.team_id]):
            return
        cursor, token, has_more = page.cursor, page.token, page.more
        line = {**page_answer(page, sent.version, nulls=sent.nulls), "now": format_utc(timezone.now())}
        yield msgspec.json.encode(line) + b"\n"


def page_answer(page: PulledPage, version: SchemaVersion, *, nulls: bool) -> SyncPage:
    """Return what an answer says of a page, without ``nulls`` only the fields that have a value."""
    changes = [version.downgrade(change) for change in page.changes]
    answer: SyncPage = {
        "changes": changes if nulls else [_without_nulls(change) for change in changes],
        "cursor": page.cursor,
        "more": page.more,
    }
    if page.token is not None:
        answer["scope_token"] = page.token.encode()
    return answer


def _without_nulls(change: Mapping[str, object]) -> Mapping[str, object]:
    if "fields" not in change:
        return change
    return {**change, "fields": {name: value for name, value in fields_of(change).items() if value is not None}}
