"""The phone's state, computed from the events in its log.

Every event is a JSON object. Applied again in their order, the same events give the same state: nothing here reads a
clock, a disk or the network.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from table.phone.events import Answered, Event, WrittenEvent
from table.phone.payloads import Announcement, AskedScope, Page, ReceivedProblem

_CHILDREN = ("infusion", "note", "photo")


@dataclass(frozen=True, kw_only=True)
class PhoneRecord:
    """A record as the phone shows it; ``unsent`` when it includes edits that the server has not confirmed.

    ``by`` edited it last, ``author`` made it, ``at`` is the moment of its latest edit, all as pulled; None of what
    phones only pull, and before the first pull.
    """

    type: str
    id: str
    fields: Mapping[str, object]
    revision: int | None
    by: str | None
    author: str | None
    at: str | None
    unsent: bool


@dataclass(kw_only=True)
class PulledRecord:
    """A record as last pulled; ``seen_in`` is the number of the last full pull that contained it."""

    type: str
    fields: dict[str, object]
    revision: int
    by: str | None
    seen_in: int
    author: str | None = None
    at: str | None = None


@dataclass(kw_only=True)
class UnsentChange:
    """A change that the server has not confirmed.

    ``number`` identifies changes and orders them; ``change`` is the JSON that is sent; ``begins`` marks the change that
    creates a record here. ``problems`` says why the server has not accepted it so far.
    """

    number: int
    change: dict[str, Any]  # as json reads it: the fields of any type of record
    begins: bool
    problems: Sequence[ReceivedProblem] = field(default_factory=list)

    @property
    def record(self) -> str:
        """Return the id of the record it changes."""
        return str(self.change["id"])


@dataclass(kw_only=True)
class QueuedPhoto:
    """A photo that the server does not have yet: its announcement, the path of its file, why it was refused."""

    announced: Announcement
    path: str
    problems: Sequence[ReceivedProblem] = field(default_factory=list)

    @property
    def id(self) -> str:
        """Return its id."""
        return self.announced["id"]


@dataclass(kw_only=True)
class PhoneState:
    """Everything that the phone knows.

    ``confirmed`` are changes with the revision that the server gave them. They are shown until that revision has been
    pulled, so that an edit does not disappear between sending and pulling. ``full_pass`` counts the times that
    everything was pulled from cursor 0. ``scope_token`` is the server's note of what is here of a scope.
    """

    device: str = ""
    token: str = ""
    cursor: int = 0
    last_at: str = ""
    number: int = 0
    full_pass: int = 0
    in_full_pass: bool = False
    scope: AskedScope | None = None
    scope_token: str = ""
    records: dict[str, PulledRecord] = field(default_factory=dict)
    outbox: dict[int, UnsentChange] = field(default_factory=dict)
    refused: dict[int, UnsentChange] = field(default_factory=dict)
    confirmed: list[tuple[int, UnsentChange]] = field(default_factory=list)
    photos: dict[str, QueuedPhoto] = field(default_factory=dict)

    def apply(self, event: Event) -> None:
        """Change the state by one event."""
        match event["event"]:
            case "begun":
                self.device = event["device"]
            case "signed":
                self.token = event["token"]
            case "written":
                self._add_change(event)
            case "answered":
                self._merge_answer(event)
            case "start_again":
                self.cursor, self.in_full_pass, self.scope_token = 0, True, ""
                self.full_pass += 1
            case "scoped":
                self.scope = event["scope"]
            case "put_away":
                del self.refused[event["number"]]
            case "photographed":
                photo = QueuedPhoto(announced=event["photo"], path=event["path"])
                self.photos[photo.id] = photo
            case "photo_done":
                self._finish_photo(event["id"], problems=event["problems"])
            case "snapshot":
                self._restore(event["state"])
            case other:
                raise ValueError(f"an event called {other!r} is not known")

    def _add_change(self, event: WrittenEvent) -> None:
        unsent = UnsentChange(number=event["number"], change=event["change"], begins=event["begins"])
        self.outbox[unsent.number] = unsent
        self.number = max(self.number, unsent.number)
        self.last_at = max(self.last_at, event.get("clock_at", ""))

    def _finish_photo(self, photo: str, *, problems: Sequence[ReceivedProblem] | None) -> None:
        if problems:
            self.photos[photo].problems = problems
        else:
            del self.photos[photo]

    def _merge_answer(self, event: Answered) -> None:
        for number, verdict, revision, problems in event["verdicts"]:
            self._resolve_change(number, verdict, revision=revision, problems=problems)
        if (page := event["page"]) is not None:
            self._merge_page(page)

    def _resolve_change(
        self, number: int, verdict: str, *, revision: int | None, problems: Sequence[ReceivedProblem]
    ) -> None:
        unsent = self.outbox[number]
        unsent.problems = problems
        if verdict == "waits":
            return
        del self.outbox[number]
        if verdict == "refused":
            self.refused[number] = unsent
        elif revision is not None:
            self.confirmed.append((revision, unsent))

    def _merge_page(self, page: Page) -> None:
        for change in page["changes"]:
            if change["deleted"]:
                self.records.pop(change["id"], None)
            else:
                self.last_at = max(self.last_at, change.get("at") or "")
                self.records[change["id"]] = PulledRecord(
                    type=change["type"],
                    fields=change["fields"],
                    revision=change["revision"],
                    by=change.get("by"),
                    seen_in=self.full_pass,
                    author=change.get("author"),
                    at=change.get("at"),
                )
        self.cursor, self.scope_token = page["cursor"], page.get("scope_token", "")
        self.confirmed = [(revision, unsent) for revision, unsent in self.confirmed if revision > self.cursor]
        if self.in_full_pass and not page["more"]:
            self.records = {i: record for i, record in self.records.items() if record.seen_in == self.full_pass}
            self.in_full_pass = False

    def view(self, record: str) -> PhoneRecord | None:
        """Return a record as pulled, with the unconfirmed changes applied; None if it is deleted or not known here.

        Infusions, notes and photos of a deleted session are deleted with it, as photos of a deleted lot.
        """
        return self._view(record, self._unconfirmed_by_record())

    def views(self, type_name: str) -> Iterator[PhoneRecord]:
        """Yield the records of a type, in the order of their ids."""
        unconfirmed = self._unconfirmed_by_record()
        ids = {i for i, record in self.records.items() if record.type == type_name}
        ids |= {i for i, changes in unconfirmed.items() if changes[0].change["type"] == type_name}
        for record in sorted(ids):
            if (shown := self._view(record, unconfirmed)) is not None:
                yield shown

    def _unconfirmed_by_record(self) -> dict[str, list[UnsentChange]]:
        """Return the unconfirmed changes of each record, in the order they were made."""
        unconfirmed: dict[str, list[UnsentChange]] = {}
        changes = [*(unsent for _, unsent in self.confirmed), *self.outbox.values()]
        for change in sorted(changes, key=lambda unsent: unsent.number):
            unconfirmed.setdefault(change.record, []).append(change)
        return unconfirmed

    def _view(self, record: str, unconfirmed: Mapping[str, Sequence[UnsentChange]]) -> PhoneRecord | None:
        base, changes = self.records.get(record), unconfirmed.get(record, ())
        if base is None and not any(unsent.begins for unsent in changes):
            return None  # edits of what is not here: the server brings it back whole, or not at all
        fields, deleted = dict(base.fields) if base else {}, False
        for unsent in changes:
            deleted = bool(unsent.change.get("deleted"))
            fields |= unsent.change.get("fields", {})
        type_name = base.type if base else str(changes[0].change["type"])
        parent = fields.get("session") or fields.get("lot")
        if deleted or (type_name in _CHILDREN and self._view(str(parent), unconfirmed) is None):
            return None
        return PhoneRecord(
            type=type_name,
            id=record,
            fields=fields,
            revision=base.revision if base else None,
            by=base.by if base else None,
            author=base.author if base else None,
            at=base.at if base else None,
            unsent=bool(changes),
        )

    def snapshot(self) -> Mapping[str, object]:
        """Return one event, as JSON, that has the effect of all events so far."""
        return {"event": "snapshot", "state": asdict(self)}

    def _restore(self, stored: dict[str, Any]) -> None:
        stored = dict(stored)
        self.records = {i: PulledRecord(**pulled) for i, pulled in stored.pop("records").items()}
        self.outbox = {int(number): UnsentChange(**unsent) for number, unsent in stored.pop("outbox").items()}
        self.refused = {int(number): UnsentChange(**unsent) for number, unsent in stored.pop("refused").items()}
        self.confirmed = [(revision, UnsentChange(**unsent)) for revision, unsent in stored.pop("confirmed")]
        self.photos = {i: QueuedPhoto(**photo) for i, photo in stored.pop("photos", {}).items()}
        for name, value in stored.items():
            setattr(self, name, value)
