"""What the API sends and takes, as far as the phone reads it: types of JSON objects."""

from collections.abc import Mapping
from typing import NotRequired, TypedDict, TypeGuard

_PAGE = {"changes", "cursor", "more"}
"""Members that every page has."""


class ReceivedProblem(TypedDict):
    """Why something was refused."""

    field: str
    code: str
    detail: str


class PhotoParents(TypedDict, total=False):
    """What a photo is of: a session or one of its infusions, or a lot."""

    session: str
    lot: str
    infusion: str


class Announcement(PhotoParents):
    """What the server is asked to expect of a photo."""

    id: str
    of: str
    sha256: str
    bytes: int
    taken_at: str


class AskedScope(TypedDict):
    """Sessions of the last days and of some lots."""

    days: int
    lots: list[str]


class PulledChange(TypedDict):
    """A record as the server sends it; without fields when it is deleted."""

    type: str
    id: str
    revision: int
    deleted: bool
    fields: NotRequired[dict[str, object]]
    by: NotRequired[str | None]
    author: NotRequired[str | None]
    at: NotRequired[str | None]


class Page(TypedDict):
    """Some of what is new after a cursor; ``scope_token`` is the server's note of what is then here of the scope."""

    changes: list[PulledChange]
    cursor: int
    more: bool
    scope_token: NotRequired[str]


class StandingRecord(TypedDict):
    """What a record that stands as it was sent has beyond that."""

    fields: dict[str, object]
    by: NotRequired[str | None]
    author: NotRequired[str | None]
    at: NotRequired[str | None]


class ReceivedVerdict(TypedDict):
    """The server's verdict on one change, as it is sent."""

    type: str
    id: str
    verdict: str
    revision: int | None
    problems: list[ReceivedProblem]
    record: NotRequired[StandingRecord | None]


class ReceivedSync(Page):
    """The answer to a sync: a verdict on each change, and a page."""

    verdicts: list[ReceivedVerdict]


def is_page(answer: Mapping[str, object]) -> TypeGuard[Page]:
    """Return whether an answer has what a page has."""
    return answer.keys() >= _PAGE


def is_sync_answer(answer: Mapping[str, object]) -> TypeGuard[ReceivedSync]:
    """Return whether an answer has what the answer to a sync has."""
    return answer.keys() >= {"verdicts", *_PAGE}
