"""What a phone's journal holds: one event for each thing that happened, and the state that a snapshot stores."""

from collections.abc import Sequence
from typing import Literal, NotRequired, TypedDict

from table.phone.payloads import Announcement, AskedScope, Page, ReceivedProblem


class _StoredRecord(TypedDict):
    type: str
    fields: dict[str, object]
    revision: int
    by: str | None
    seen_in: int
    author: NotRequired[str | None]
    at: NotRequired[str | None]


class _StoredChange(TypedDict):
    number: int
    change: dict[str, object]
    begins: bool
    problems: NotRequired[list[ReceivedProblem]]


class _StoredPhoto(TypedDict):
    announced: Announcement
    path: str
    problems: NotRequired[list[ReceivedProblem]]


class StoredState(TypedDict):
    """A stored state: its parts that are more than one value. Beside them are the single values of `PhoneState`."""

    records: dict[str, _StoredRecord]
    outbox: dict[str, _StoredChange]
    refused: dict[str, _StoredChange]
    confirmed: list[tuple[int, _StoredChange]]
    photos: NotRequired[dict[str, _StoredPhoto]]


class Begun(TypedDict):
    """A journal was begun."""

    event: Literal["begun"]
    device: str


class Signed(TypedDict):
    """A token came, or with an empty one was deleted."""

    event: Literal["signed"]
    token: str


class WrittenEvent(TypedDict):
    """A record was edited here; ``clock_at`` is the moment that was given out for it."""

    event: Literal["written"]
    number: int
    begins: bool
    change: dict[str, object]
    clock_at: NotRequired[str]


class Answered(TypedDict):
    """The server answered: number, verdict, revision and problems of each change, and a page."""

    event: Literal["answered"]
    verdicts: Sequence[tuple[int, str, int | None, Sequence[ReceivedProblem]]]
    page: Page | None


class StartAgainEvent(TypedDict):
    """Everything is pulled anew."""

    event: Literal["start_again"]


class Scoped(TypedDict):
    """A scope was chosen, or with None ended."""

    event: Literal["scoped"]
    scope: AskedScope | None


class PutAway(TypedDict):
    """A refused change was removed from the list."""

    event: Literal["put_away"]
    number: int


class Photographed(TypedDict):
    """A photo was taken."""

    event: Literal["photographed"]
    photo: Announcement
    path: str


class PhotoDone(TypedDict):
    """A photo was sent or removed, or with problems refused."""

    event: Literal["photo_done"]
    id: str
    problems: Sequence[ReceivedProblem] | None


class Snapshot(TypedDict):
    """A whole state."""

    event: Literal["snapshot"]
    state: StoredState


Event = (
    Begun | Signed | WrittenEvent | Answered | StartAgainEvent | Scoped | PutAway | Photographed | PhotoDone | Snapshot
)
