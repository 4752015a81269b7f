"""What a phone's journal holds: one event for each thing that happened."""

from collections.abc import Sequence
from typing import Any, Literal, NotRequired, TypedDict

from table.phone.payloads import Announcement, AskedScope, Page, ReceivedProblem


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
    """A whole state: the fields of `table.phone.phone_state.PhoneState`."""

    event: Literal["snapshot"]
    state: dict[str, Any]  # as json reads it


Event = (
    Begun | Signed | WrittenEvent | Answered | StartAgainEvent | Scoped | PutAway | Photographed | PhotoDone | Snapshot
)
