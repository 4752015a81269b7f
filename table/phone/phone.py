"""The phone itself: write down, look at, sync."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple, Self

from table.phone.album import Album
from table.phone.asking import ask, encoded
from table.phone.errors import PhoneError, RefusedError, SignedOutError
from table.phone.ids import new_id
from table.phone.link import Link
from table.phone.patience import Patience
from table.phone.state import Record, Unsent
from table.phone.stores import Store

SCHEMA = 1
MOST_CHANGES, MOST_BYTES = 1000, 2 * 1024 * 1024
_ENVELOPE_BYTES = 1024
_WAITS_FOR = {"unknown_parent", "unknown_record"}


def utc_now() -> datetime:
    """Return this machine's idea of the time."""
    return datetime.now(UTC)


class Outcome(NamedTuple):
    """What the server said of one change; ``word`` is its verdict, ``stays`` whether it will be sent again."""

    unsent: Unsent
    word: str
    revision: int | None
    problems: Sequence[Mapping[str, Any]]
    stays: bool


@dataclass(kw_only=True)
class SyncReport:
    """What a sync did: the verdicts in the order they came, records taken in, whether everything was pulled anew."""

    outcomes: list[Outcome] = field(default_factory=list)
    pulled: int = 0
    started_again: bool = False

    @property
    def words(self) -> Counter[str]:
        """Return how often each verdict was given."""
        return Counter(outcome.word for outcome in self.outcomes)


@dataclass(frozen=True, kw_only=True)
class Habits:
    """How a phone goes about it.

    ``clock`` is the device's own, right or wrong. ``page`` is how many records to ask for at a time and
    ``most_changes`` how many changes to send, both at most 1,000. ``order`` says in which order unsent changes go
    out: as they were made, unless a test wants to see that any other does.
    """

    clock: Callable[[], datetime] = utc_now
    patience: Patience = field(default_factory=Patience)
    page: int = 500
    most_changes: int = MOST_CHANGES
    order: Callable[[list[Unsent]], Iterable[Unsent]] = list


class Phone:
    """One device in one member's hand.

    Parameters
    ----------
    link : Link
        The line to the server.
    store : Store
        What the phone remembers.
    habits : Habits, optional
        Its clock, its patience, and how much it sends and asks for at a time.
    """

    def __init__(self, link: Link, *, store: Store, habits: Habits | None = None) -> None:
        self._link, self._store, self._habits = link, store, habits or Habits()
        self._most_changes, self._most_bytes = min(self._habits.most_changes, MOST_CHANGES), MOST_BYTES
        self.album = Album(link, store=store, patience=self._habits.patience)
        """Photos, which go apart from the records and after them."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the line and the store; what is unsent is sent by the next phone on the same store."""
        self._link.close()
        self._store.close()

    # Signing in and out

    def sign_in(
        self, *, username: str, password: str, called: str = "phone", team: str | None = None
    ) -> Mapping[str, Any]:
        """Sign in and return who and where the server says this is; ``team`` chooses among several.

        Raises
        ------
        SignedOutError
            Name and password do not go together.
        """
        sent = {"username": username, "password": password, "device": called} | ({"team": team} if team else {})
        self._forget_token()
        answer = self.ask("POST", "/api/v1/auth/tokens", body=sent)
        self._store.keep({"event": "signed", "token": answer["token"]})
        return answer

    def sign_out(self) -> None:
        """End this device's token, at the server first."""
        self.ask("DELETE", "/api/v1/auth/tokens/current")
        self._forget_token()

    @property
    def signed_in(self) -> bool:
        """Whether there is a token; the server may think otherwise, which shows at the next sync."""
        return bool(self._store.state.token)

    # Writing down

    @property
    def device(self) -> str:
        """Return the id under which the server keeps this device's edits."""
        return self._store.state.device

    def new(
        self, type_name: str, fields: Mapping[str, object], *, record: str | None = None, at: datetime | None = None
    ) -> str:
        """Begin a record and return its id, made here unless one is given."""
        record = record or new_id(self._habits.clock())
        self._write({"type": type_name, "id": record}, fields=fields, at=at, begins=True)
        return record

    def edit(self, type_name: str, record: str, fields: Mapping[str, object], *, at: datetime | None = None) -> None:
        """Set some fields of a record; None means "not known". It brings a deleted record back.

        ``at`` is for what was written down earlier than now, as from paper; otherwise the phone stamps it.
        """
        self._write({"type": type_name, "id": record}, fields=fields, at=at, begins=False)

    def delete(self, type_name: str, record: str, *, at: datetime | None = None) -> None:
        """Delete a record; its history stays at the server."""
        self._write({"type": type_name, "id": record, "deleted": True}, fields=None, at=at, begins=False)

    def _write(
        self, change: dict[str, Any], *, fields: Mapping[str, object] | None, at: datetime | None, begins: bool
    ) -> None:
        state = self._store.state
        if fields is not None:
            change["fields"] = dict(fields)
        event: dict[str, Any] = {"event": "written", "number": state.number + 1, "begins": begins, "change": change}
        if at is None:
            change["at"] = event["clock_at"] = self._next_moment()
        else:
            change["at"] = _stamp(at)
        encoded(change)  # ValueError here, not when it is too late
        self._store.keep(event)

    def _next_moment(self) -> str:
        """Return the clock's moment, or just after the last one given out when the clock has not moved on since."""
        now, last = _stamp(self._habits.clock()), self._store.state.last_at
        return now if now > last else _stamp(datetime.fromisoformat(last) + timedelta(microseconds=1))

    # Looking

    def record(self, record: str) -> Record | None:
        """Return a record with unsent edits over what was pulled; None if deleted or not known here."""
        return self._store.state.view(record)

    def records(self, type_name: str) -> list[Record]:
        """Return every record of a type, in the order of their ids."""
        return list(self._store.state.views(type_name))

    @property
    def unsent(self) -> list[Unsent]:
        """Return what the server has not taken yet, in the order it was written down."""
        return [self._store.state.outbox[number] for number in sorted(self._store.state.outbox)]

    @property
    def refused(self) -> list[Unsent]:
        """Return what the server will not take as it is, with the problems of each."""
        return [self._store.state.refused[number] for number in sorted(self._store.state.refused)]

    def amend(self, refused: Unsent, fields: Mapping[str, object]) -> None:
        """Write a refused change down once more with some of its fields set right."""
        change = {"type": refused.change["type"], "id": refused.record}
        self._write(change, fields={**refused.change.get("fields", {}), **fields}, at=None, begins=refused.begins)
        self.put_away(refused)

    def put_away(self, refused: Unsent) -> None:
        """Take a change off the list of refused ones."""
        self._store.keep({"event": "put_away", "number": refused.number})

    # Talking to the server

    def ask(self, method: str, path: str, *, body: Mapping[str, object] | None = None) -> Mapping[str, Any]:
        """Ask the server anything and return its JSON answer; errors as of `table.phone.asking.ask`."""
        token = self._store.state.token
        return ask(self._link, (method, path), token=token, body=body, patience=self._habits.patience)

    def sync(self, *, pull: bool = True) -> SyncReport:
        """Send what is unsent and take in what is new, until neither is left.

        With ``pull=False`` only the sending is done: for a phone in a hurry.

        Raises
        ------
        SignedOutError
            There is no valid token; sign in, then sync again.
        RefusedError
            The whole request was refused: 409 means that this program is too old.
        UnreachableError
            No answer. Whatever was answered before is kept; the rest is tried by the next sync.
        """
        if not self.signed_in:
            raise SignedOutError("not signed in", status=401)
        report, more, tried, got_through = SyncReport(), pull, set[int](), False
        while True:
            chunk = self._chunk(leaving_out=tried)
            if not chunk and got_through and self.unsent:  # what waited may have what it needs now
                tried, got_through = set(), False
                continue
            if not chunk and not more:
                return report
            answer = self._exchange(chunk, pull=pull, report=report)
            if answer is None:
                more = pull
                continue
            tried |= {unsent.number for unsent in chunk}
            outcomes = [self._judged(*pair) for pair in zip(chunk, answer["verdicts"], strict=True)]
            self._store.keep(_answered(outcomes, page=answer if pull else None))
            report.outcomes += outcomes
            got_through = got_through or any(o.word in ("applied", "merged") for o in outcomes)
            if pull:
                more = answer["more"]
                report.pulled += len(answer["changes"])

    def _chunk(self, *, leaving_out: set[int]) -> list[Unsent]:
        """Return what fits into one request."""
        chunk: list[Unsent] = []
        room = self._most_bytes - _ENVELOPE_BYTES
        for unsent in self._habits.order([unsent for unsent in self.unsent if unsent.number not in leaving_out]):
            room -= len(encoded(unsent.change)) + 1
            if chunk and (room < 0 or len(chunk) >= self._most_changes):
                break
            chunk.append(unsent)
        return chunk

    def _exchange(self, chunk: Sequence[Unsent], *, pull: bool, report: SyncReport) -> Mapping[str, Any] | None:
        """Do one round trip; None when nothing was applied and it has to be done differently."""
        body = {
            "schema": SCHEMA,
            "device": self.device,
            "cursor": self._store.state.cursor,
            "limit": self._habits.page if pull else 1,
            "changes": [unsent.change for unsent in chunk],
        }
        try:
            answer = self.ask("POST", "/api/v1/sync", body=body)
        except SignedOutError:
            self._forget_token()
            raise
        except RefusedError as refusal:
            if refusal.starts_again and body["cursor"]:
                self._store.keep({"event": "start_again"})
                report.started_again = True
                return None
            if refusal.status == 413 and chunk:
                self._send_less(chunk, report=report)
                return None
            raise
        if not {"verdicts", "changes", "cursor", "more"} <= answer.keys() or len(answer["verdicts"]) != len(chunk):
            raise PhoneError("the server's answer to a sync is not one")
        return answer

    def _send_less(self, chunk: Sequence[Unsent], *, report: SyncReport) -> None:
        """Halve the chunks; a single change that is too large can never go."""
        if len(chunk) > 1:
            size = sum(len(encoded(unsent.change)) for unsent in chunk)
            self._most_changes = max(1, len(chunk) // 2)
            self._most_bytes = max(2 * _ENVELOPE_BYTES, size // 2 + _ENVELOPE_BYTES)
            return
        problems = [{"field": "", "code": "too_large", "detail": "is more than one request may carry"}]
        outcome = Outcome(chunk[0], "refused", None, problems, stays=False)
        self._store.keep(_answered([outcome], page=None))
        report.outcomes.append(outcome)

    def _judged(self, unsent: Unsent, verdict: Mapping[str, Any]) -> Outcome:
        """Decide what becomes of a change: edits of a record whose own beginning waits do wait with it."""
        codes = {problem["code"] for problem in verdict["problems"]}
        waits = bool(codes & _WAITS_FOR) or (codes == {"required"} and not unsent.begins and self._begins_later(unsent))
        stays = verdict["verdict"] == "refused" and waits
        return Outcome(unsent, verdict["verdict"], verdict["revision"], verdict["problems"], stays=stays)

    def _begins_later(self, unsent: Unsent) -> bool:
        waiting = self._store.state.outbox.values()
        return any(other.begins and other.record == unsent.record for other in waiting)

    def _forget_token(self) -> None:
        if self.signed_in:
            self._store.keep({"event": "signed", "token": ""})


def _answered(outcomes: Sequence[Outcome], *, page: Mapping[str, Any] | None) -> Mapping[str, Any]:
    """Return the event of an answer: verdicts and page in one, so that neither is ever kept without the other."""
    verdicts = [
        [outcome.unsent.number, "waits" if outcome.stays else outcome.word, outcome.revision, list(outcome.problems)]
        for outcome in outcomes
    ]
    taken = None if page is None else {name: page[name] for name in ("changes", "cursor", "more")}
    return {"event": "answered", "verdicts": verdicts, "page": taken}


def _stamp(moment: datetime) -> str:
    """Return the moment in UTC with a fixed width, so that comparing texts compares moments."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ").rjust(27, "0")
