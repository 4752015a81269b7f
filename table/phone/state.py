"""What a phone holds, as a function of the events that it kept.

Every event is a JSON object, so that a journal of them is the phone's whole memory: read in again they give the same
state. Nothing here reads a clock, a disk or the network.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

Event = Mapping[str, Any]
_CHILDREN = ("infusion", "note")


@dataclass(frozen=True, kw_only=True)
class Record:
    """A record as the phone shows it; ``unsent`` when edits that the server has not confirmed lie over it."""

    type: str
    id: str
    fields: Mapping[str, Any]
    revision: int | None
    by: str | None
    unsent: bool


@dataclass(kw_only=True)
class Pulled:
    """A record as last pulled, and in which full pass it was last seen."""

    type: str
    fields: dict[str, Any]
    revision: int
    by: str | None
    seen_in: int


@dataclass(kw_only=True)
class Unsent:
    """A change that the server has not confirmed.

    ``number`` tells changes apart and orders them; ``change`` is what travels; ``begins`` marks the first change of a
    record made here. ``problems`` says why it was not taken so far.
    """

    number: int
    change: dict[str, Any]
    begins: bool
    problems: Sequence[Mapping[str, Any]] = field(default_factory=list)

    @property
    def record(self) -> str:
        """Return the id of the record it changes."""
        return str(self.change["id"])


@dataclass(kw_only=True)
class Photo:
    """A photo that the server does not have yet: what is announced, where its file lies, why it is refused."""

    announced: dict[str, Any]
    path: str
    problems: Sequence[Mapping[str, Any]] = field(default_factory=list)

    @property
    def id(self) -> str:
        """Return its id."""
        return str(self.announced["id"])


@dataclass(kw_only=True)
class State:
    """All of it.

    ``confirmed`` are changes with the revision that the server gave them; they are shown until that revision has been
    pulled, so that what was sent does not vanish in between.
    """

    device: str = ""
    token: str = ""
    cursor: int = 0
    last_at: str = ""
    number: int = 0
    full_pass: int = 0
    in_full_pass: bool = False
    records: dict[str, Pulled] = field(default_factory=dict)
    outbox: dict[int, Unsent] = field(default_factory=dict)
    refused: dict[int, Unsent] = field(default_factory=dict)
    confirmed: list[tuple[int, Unsent]] = field(default_factory=list)
    photos: dict[str, Photo] = field(default_factory=dict)

    def apply(self, event: Event) -> None:
        """Take in one event."""
        match event["event"]:
            case "begun":
                self.device = event["device"]
            case "signed":
                self.token = event["token"]
            case "written":
                unsent = Unsent(number=event["number"], change=event["change"], begins=event["begins"])
                self.outbox[unsent.number] = unsent
                self.number = max(self.number, unsent.number)
                self.last_at = max(self.last_at, event.get("clock_at", ""))
            case "answered":
                for number, word, revision, problems in event["verdicts"]:
                    self._judge(number, word, revision=revision, problems=problems)
                if (page := event["page"]) is not None:
                    self._take(page)
            case "start_again":
                self.cursor, self.in_full_pass = 0, True
                self.full_pass += 1
            case "put_away":
                del self.refused[event["number"]]
            case "photographed":
                photo = Photo(announced=event["photo"], path=event["path"])
                self.photos[photo.id] = photo
            case "photo_done" if event["problems"]:
                self.photos[event["id"]].problems = event["problems"]
            case "photo_done":
                del self.photos[event["id"]]
            case "snapshot":
                self._restore(event["state"])
            case other:
                raise ValueError(f"an event called {other!r} is not known")

    def _judge(self, number: int, word: str, *, revision: int | None, problems: Sequence[Mapping[str, Any]]) -> None:
        unsent = self.outbox[number]
        unsent.problems = problems
        if word == "waits":
            return
        del self.outbox[number]
        if word == "refused":
            self.refused[number] = unsent
        elif revision is not None:
            self.confirmed.append((revision, unsent))

    def _take(self, page: Mapping[str, Any]) -> None:
        for change in page["changes"]:
            if change["deleted"]:
                self.records.pop(change["id"], None)
            else:
                self.records[change["id"]] = Pulled(
                    type=change["type"],
                    fields=change["fields"],
                    revision=change["revision"],
                    by=change["by"],
                    seen_in=self.full_pass,
                )
        self.cursor = page["cursor"]
        self.confirmed = [(revision, unsent) for revision, unsent in self.confirmed if revision > self.cursor]
        if self.in_full_pass and not page["more"]:
            self.records = {i: kept for i, kept in self.records.items() if kept.seen_in == self.full_pass}
            self.in_full_pass = False

    def view(self, record: str) -> Record | None:
        """Return a record with unconfirmed changes over what was pulled; None if it is deleted or not known here.

        What hangs on a deleted session is gone with it.
        """
        return self._shown(record, self._laid_over())

    def views(self, type_name: str) -> Iterator[Record]:
        """Yield the records of a type, in the order of their ids."""
        over = self._laid_over()
        mine = {i for i, kept in self.records.items() if kept.type == type_name}
        mine |= {i for i, changes in over.items() if changes[0].change["type"] == type_name}
        for record in sorted(mine):
            if (shown := self._shown(record, over)) is not None:
                yield shown

    def _laid_over(self) -> dict[str, list[Unsent]]:
        """Return the unconfirmed changes of each record, in the order they were made."""
        over: dict[str, list[Unsent]] = {}
        for change in sorted([*(unsent for _, unsent in self.confirmed), *self.outbox.values()], key=_by_number):
            over.setdefault(change.record, []).append(change)
        return over

    def _shown(self, record: str, over: Mapping[str, Sequence[Unsent]]) -> Record | None:
        base, changes = self.records.get(record), over.get(record, ())
        if base is None and not any(unsent.begins for unsent in changes):
            return None  # edits of what is not here: the server brings it back whole, or not at all
        fields, gone = dict(base.fields) if base else {}, False
        for unsent in changes:
            gone = bool(unsent.change.get("deleted"))
            fields |= unsent.change.get("fields", {})
        type_name = base.type if base else str(changes[0].change["type"])
        if gone or (type_name in _CHILDREN and self._shown(str(fields.get("session")), over) is None):
            return None
        return Record(
            type=type_name,
            id=record,
            fields=fields,
            revision=base.revision if base else None,
            by=base.by if base else None,
            unsent=bool(changes),
        )

    def snapshot(self) -> Event:
        """Return the one event that stands for all so far."""
        return {"event": "snapshot", "state": asdict(self)}

    def _restore(self, kept: Mapping[str, Any]) -> None:
        plain = dict(kept)
        self.records = {i: Pulled(**pulled) for i, pulled in plain.pop("records").items()}
        self.outbox = {int(number): Unsent(**unsent) for number, unsent in plain.pop("outbox").items()}
        self.refused = {int(number): Unsent(**unsent) for number, unsent in plain.pop("refused").items()}
        self.confirmed = [(revision, Unsent(**unsent)) for revision, unsent in plain.pop("confirmed")]
        self.photos = {i: Photo(**photo) for i, photo in plain.pop("photos", {}).items()}
        for name, value in plain.items():
            setattr(self, name, value)


def _by_number(unsent: Unsent) -> int:
    return unsent.number
