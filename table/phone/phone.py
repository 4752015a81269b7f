"""The phone: create and edit records offline, read them, sync."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple, Self

from table.phone.errors import PhoneError, RefusedError, SignedOutError, UnreachableError
from table.phone.events import Answered, WrittenEvent
from table.phone.ids import new_id
from table.phone.payloads import (
    AskedScope,
    Page,
    PulledChange,
    ReceivedProblem,
    ReceivedSync,
    ReceivedVerdict,
    is_page,
    is_sync_answer,
)
from table.phone.phone_state import PhoneRecord, UnsentChange
from table.phone.photo_queue import PhotoQueue
from table.phone.retry import RetryPolicy
from table.phone.stores import Store
from table.phone.sync_request import encode_json, send_request
from table.phone.transport import Transport

SCHEMA = 1
MAX_CHANGES, MAX_BYTES = 1000, 2 * 1024 * 1024
_ENVELOPE_BYTES = 1024
_RETRIED_CODES = {"unknown_parent", "unknown_record"}


def utc_now() -> datetime:
    """Return this machine's time."""
    return datetime.now(UTC)


class ChangeOutcome(NamedTuple):
    """The server's verdict on one change; ``will_retry`` says whether the change is sent again by the next sync."""

    unsent: UnsentChange
    verdict: str
    revision: int | None
    problems: Sequence[ReceivedProblem]
    will_retry: bool


@dataclass(kw_only=True)
class SyncReport:
    """What a sync did: verdicts in the order they came, records pulled, whether everything was pulled anew."""

    outcomes: list[ChangeOutcome] = field(default_factory=list)
    pulled: int = 0
    started_again: bool = False

    @property
    def verdicts(self) -> Counter[str]:
        """Return how often each verdict was given."""
        return Counter(outcome.verdict for outcome in self.outcomes)


@dataclass(frozen=True, kw_only=True)
class PhoneOptions:
    """Clock, retries and sizes of requests.

    ``clock`` is the device's own, right or wrong. ``page_size`` is how many records to pull at a time and
    ``max_changes`` how many changes to send, both at most 1,000. With ``streams`` a long pull is one answer; with
    ``echo`` an answer has what was sent with its request as well. ``order`` sorts unsent changes before sending: as
    they were made, unless a test wants another order.
    """

    clock: Callable[[], datetime] = utc_now
    retry: RetryPolicy = field(default_factory=RetryPolicy)
    page_size: int = 500
    max_changes: int = MAX_CHANGES
    streams: bool = False
    echo: bool = False
    order: Callable[[list[UnsentChange]], Iterable[UnsentChange]] = list


class Phone:
    """One device of one member: its connection to the server, its event log, and its options."""

    def __init__(self, transport: Transport, *, store: Store, options: PhoneOptions | None = None) -> None:
        self._transport, self._store, self._options = transport, store, options or PhoneOptions()
        self._max_changes, self._max_bytes = min(self._options.max_changes, MAX_CHANGES), MAX_BYTES
        self.photos = PhotoQueue(transport, store=store, retry=self._options.retry)
        """Photos, which are sent apart from the records and after them."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close connection and store; unsent changes are sent by the next phone on the same store."""
        self._transport.close()
        self._store.close()

    # Signing in and out

    def sign_in(
        self, *, username: str, password: str, device_name: str = "phone", team: str | None = None
    ) -> Mapping[str, object]:
        """Sign in and return user, team, shop and role; ``team`` chooses among several.

        Raise SignedOutError if name or password is wrong.
        """
        sent = {"username": username, "password": password, "device": device_name} | ({"team": team} if team else {})
        self._delete_token()
        answer = self.request("POST", "/api/v1/auth/tokens", body=sent)
        self._store.append({"event": "signed", "token": str(answer["token"])})
        return answer

    def sign_out(self) -> None:
        """End this device's token, at the server first."""
        self.request("DELETE", "/api/v1/auth/tokens/current")
        self._delete_token()

    @property
    def signed_in(self) -> bool:
        """Whether there is a token; whether the server still accepts it shows at the next sync."""
        return bool(self._store.state.token)

    # Local edits

    @property
    def device(self) -> str:
        """Return the id under which the server keeps this device's edits."""
        return self._store.state.device

    def create(
        self, type_name: str, fields: Mapping[str, object], *, record: str | None = None, at: datetime | None = None
    ) -> str:
        """Create a record and return its id, made here unless one is given."""
        record = record or new_id(self._options.clock())
        self._write({"type": type_name, "id": record}, fields=fields, at=at, begins=True)
        return record

    def edit(self, type_name: str, record: str, fields: Mapping[str, object], *, at: datetime | None = None) -> None:
        """Set some fields of a record; None means "not known". It brings a deleted record back.

        ``at`` is for what was noted earlier than now, as on paper; without it the phone's clock counts.
        """
        self._write({"type": type_name, "id": record}, fields=fields, at=at, begins=False)

    def delete(self, type_name: str, record: str, *, at: datetime | None = None) -> None:
        """Delete a record; its history stays at the server."""
        self._write({"type": type_name, "id": record, "deleted": True}, fields=None, at=at, begins=False)

    def _write(
        self, change: dict[str, object], *, fields: Mapping[str, object] | None, at: datetime | None, begins: bool
    ) -> None:
        state = self._store.state
        if fields is not None:
            change["fields"] = dict(fields)
        event: WrittenEvent = {"event": "written", "number": state.number + 1, "begins": begins, "change": change}
        if at is None:
            change["at"] = event["clock_at"] = self._next_time()
        else:
            change["at"] = _format_time(at)
        change["seq"] = event["number"]
        encode_json(change)  # raises ValueError now rather than at the next sync
        self._store.append(event)

    def _next_time(self) -> str:
        """Return the clock's moment, or just after the last one given out when the clock has not moved on since."""
        now, last = _format_time(self._options.clock()), self._store.state.last_at
        return now if now > last else _format_time(datetime.fromisoformat(last) + timedelta(microseconds=1))

    def set_scope(self, *, days: int | None, lots: Iterable[str] = ()) -> None:
        """Have infusions, notes and photos of sessions of the last days and of some lots only; None: of all.

        The next sync brings what is missing and takes the rest off this phone. Unsent changes stay.
        """
        scope: AskedScope | None = None if days is None else {"days": days, "lots": sorted(lots)}
        if scope != self._store.state.scope:
            self._store.append({"event": "scoped", "scope": scope})

    # Reading

    def record(self, record: str) -> PhoneRecord | None:
        """Return a record as pulled, with unsent edits applied; None if deleted or not known here."""
        return self._store.state.view(record)

    def records(self, type_name: str) -> list[PhoneRecord]:
        """Return every record of a type, in the order of their ids."""
        return list(self._store.state.views(type_name))

    @property
    def unsent(self) -> list[UnsentChange]:
        """Return the changes that the server has not accepted yet, in the order they were made."""
        return [self._store.state.outbox[number] for number in sorted(self._store.state.outbox)]

    @property
    def refused(self) -> list[UnsentChange]:
        """Return the changes that the server refused, each with its problems."""
        return [self._store.state.refused[number] for number in sorted(self._store.state.refused)]

    def amend(self, refused: UnsentChange, fields: Mapping[str, object]) -> None:
        """Make a refused change again with some of its fields corrected."""
        change: dict[str, object] = {"type": refused.change["type"], "id": refused.record}
        self._write(change, fields={**refused.change.get("fields", {}), **fields}, at=None, begins=refused.begins)
        self.dismiss(refused)

    def dismiss(self, refused: UnsentChange) -> None:
        """Remove a change from the list of refused ones."""
        self._store.append({"event": "put_away", "number": refused.number})

    # Requests

    def request(
        self, method: str, path: str, *, body: Mapping[str, object] | None = None, lines: bool = False
    ) -> Mapping[str, Any]:  # as json reads it: whichever document of the API was asked for
        """Send any request and return the JSON answer; errors as of `table.phone.sync_request.send_request`."""
        token = self._store.state.token
        retry = self._options.retry
        return send_request(self._transport, (method, path), token=token, body=body, retry=retry, lines=lines)

    def sync(self, *, pull: bool = True) -> SyncReport:
        """Send unsent changes and pull new ones, until neither is left; with ``pull=False`` only send.

        Raise SignedOutError without a valid token, RefusedError if the whole request was refused (409: this program is
        too old), UnreachableError without an answer. What was answered before is stored; the next sync does the rest.
        """
        if not self.signed_in:
            raise SignedOutError("not signed in", status=401)
        report, has_more, tried, any_accepted = SyncReport(), pull, set[int](), False
        is_long = not self._store.state.cursor
        while True:
            chunk = self._next_chunk(excluding=tried)
            if not chunk and any_accepted and self.unsent:  # a parent that was missing may be there now
                tried, any_accepted = set(), False
                continue
            if not chunk and not has_more:
                return report
            if not chunk and is_long and self._options.streams:
                has_more = is_long = self._read_stream(report)
                continue
            answer = self._exchange(chunk, pull=pull, report=report)
            if answer is None:
                has_more = is_long = pull
                continue
            tried |= {unsent.number for unsent in chunk}
            outcomes = [self._change_outcome(*pair) for pair in zip(chunk, answer["verdicts"], strict=True)]
            self._store.append(_sync_event(outcomes, page=answer if pull else None))
            report.outcomes += outcomes
            any_accepted = any_accepted or any(o.verdict in ("applied", "merged") for o in outcomes)
            if pull:
                has_more = is_long = answer["more"]
                report.pulled += len(answer["changes"])

    def _next_chunk(self, *, excluding: set[int]) -> list[UnsentChange]:
        """Return the unsent changes that fit into one request."""
        chunk: list[UnsentChange] = []
        room = self._max_bytes - _ENVELOPE_BYTES
        for unsent in self._options.order([unsent for unsent in self.unsent if unsent.number not in excluding]):
            room -= len(encode_json(unsent.change)) + 1
            if chunk and (room < 0 or len(chunk) >= self._max_changes):
                break
            chunk.append(unsent)
        return chunk

    def _exchange(self, chunk: Sequence[UnsentChange], *, pull: bool, report: SyncReport) -> ReceivedSync | None:
        """Do one round trip; return None when nothing was applied and the next request has to be another."""
        sent: dict[str, object] = {
            "limit": self._options.page_size if pull else 1,
            "changes": [unsent.change for unsent in chunk],
        }
        if pull and not self._options.echo:
            sent["echo"] = False
        try:
            answer = self._ask("/api/v1/sync", sent, report=report)
        except RefusedError as refusal:
            if refusal.status == 413 and chunk:
                self._halve_chunks(chunk, report=report)
                return None
            raise
        if answer is None:
            return None
        if not is_sync_answer(answer) or len(answer["verdicts"]) != len(chunk):
            raise PhoneError("the server's answer to a sync is not one")
        return with_standing(answer, chunk)

    def _read_stream(self, report: SyncReport) -> bool:
        """Pull page after page in one answer and store each; return whether there is more, as after a break."""
        answer = self._ask("/api/v1/sync/stream", {"limit": self._options.page_size}, report=report, lines=True)
        if answer is None:
            return True
        pages = answer.get("pages")
        if not isinstance(pages, list) or not pages:
            raise UnreachableError("the answer broke off in its first line")
        for page in pages:
            if not is_page(page):
                raise PhoneError("the server's answer to a sync is not one")
            self._store.append(_sync_event([], page=page))
            report.pulled += len(page["changes"])
        return bool(page["more"])

    def _ask(
        self, path: str, sent: Mapping[str, object], *, report: SyncReport, lines: bool = False
    ) -> Mapping[str, object] | None:
        """Send a request about what comes after the cursor; return None when the phone starts again from 0."""
        body: dict[str, object] = {"schema": SCHEMA, "device": self.device, "cursor": self._store.state.cursor, **sent}
        if (scope := self._store.state.scope) is not None:
            body["scope"] = scope
        if token := self._store.state.scope_token:
            body["scope_token"] = token
        try:
            return self.request("POST", path, body=body, lines=lines)
        except SignedOutError:
            self._delete_token()
            raise
        except RefusedError as refusal:
            if refusal.starts_again and body["cursor"] and not report.started_again:
                self._store.append({"event": "start_again"})
                report.started_again = True
                return None
            raise

    def _halve_chunks(self, chunk: Sequence[UnsentChange], *, report: SyncReport) -> None:
        """Halve the size of requests; give up on a single change that is too large."""
        if len(chunk) > 1:
            size = sum(len(encode_json(unsent.change)) for unsent in chunk)
            self._max_changes = max(1, len(chunk) // 2)
            self._max_bytes = max(2 * _ENVELOPE_BYTES, size // 2 + _ENVELOPE_BYTES)
            return
        problems: list[ReceivedProblem] = [
            {"field": "", "code": "too_large", "detail": "is more than one request may carry"}
        ]
        outcome = ChangeOutcome(chunk[0], "refused", None, problems, will_retry=False)
        self._store.append(_sync_event([outcome], page=None))
        report.outcomes.append(outcome)

    def _change_outcome(self, unsent: UnsentChange, verdict: ReceivedVerdict) -> ChangeOutcome:
        """Return what becomes of a change: edits wait as long as the change that creates their record waits."""
        codes = {problem["code"] for problem in verdict["problems"]}
        waits = bool(codes & _RETRIED_CODES) or (codes == {"required"} and self._is_created_later(unsent))
        will_retry = verdict["verdict"] == "refused" and waits
        return ChangeOutcome(
            unsent, verdict["verdict"], verdict["revision"], verdict["problems"], will_retry=will_retry
        )

    def _is_created_later(self, unsent: UnsentChange) -> bool:
        """Whether this change edits a record whose creation is still in the outbox."""
        waiting = self._store.state.outbox.values()
        return not unsent.begins and any(other.begins and other.record == unsent.record for other in waiting)

    def _delete_token(self) -> None:
        if self.signed_in:
            self._store.append({"event": "signed", "token": ""})


def with_standing(answer: ReceivedSync, chunk: Sequence[UnsentChange]) -> ReceivedSync:
    """Return an answer with the changes that it left out, since they stand as they were sent."""
    standing: list[PulledChange] = [
        {
            "type": verdict["type"],
            "id": verdict["id"],
            "revision": revision,
            "deleted": False,
            **record,
            "fields": {**unsent.change["fields"], **record["fields"]},
        }
        for unsent, verdict in zip(chunk, answer["verdicts"], strict=True)
        if (record := verdict.get("record")) and (revision := verdict["revision"]) is not None
    ]
    return {**answer, "changes": [*answer["changes"], *standing]}


def _sync_event(outcomes: Sequence[ChangeOutcome], *, page: Page | None) -> Answered:
    """Return the event of an answer: verdicts and page in one, so that neither is stored without the other."""
    verdicts = [
        (o.unsent.number, "waits" if o.will_retry else o.verdict, o.revision, list(o.problems)) for o in outcomes
    ]
    stored_page: Page | None = None
    if page is not None:
        stored_page = {"changes": page["changes"], "cursor": page["cursor"], "more": page["more"]}
        if "scope_token" in page:
            stored_page["scope_token"] = page["scope_token"]
    return {"event": "answered", "verdicts": verdicts, "page": stored_page}


def _format_time(moment: datetime) -> str:
    """Return a time in UTC as text of fixed width, so that the order of texts is the order of times."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ").rjust(27, "0")
