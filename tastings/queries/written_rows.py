"""What a push has just stored, as a pull of the same request answers it without reading it back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple
from uuid import UUID

from tastings.queries.scope import Scope


def record_change(  # noqa: PLR0913 - the members of a change
    type_name: str,
    record: UUID,
    *,
    revision: int,
    deleted: bool,
    fields: Mapping[str, object],
    at: str,
    by: str,
    author: str,
) -> Mapping[str, object]:
    """Return the change of a stored record as a phone gets it."""
    return {
        "type": type_name,
        "id": str(record),
        "revision": revision,
        "deleted": deleted,
        "fields": fields,
        "at": at,
        "by": by,
        "author": author,
    }


class WrittenRow(NamedTuple):
    """A record that a push has stored; ``change`` is what a pull says of it."""

    type: str
    id: UUID
    revision: int
    removed: bool
    session: UUID
    change: Mapping[str, object]

    def payload(self, *, deleted: bool) -> Mapping[str, object]:
        """Return the change as a phone gets it."""
        return {**self.change, "deleted": True, "fields": {}} if deleted else self.change


@dataclass(frozen=True, slots=True)
class Written:
    """All rows with a revision above ``after`` and up to ``upto``, as they were when the push ended."""

    after: int
    upto: int
    rows: Sequence[WrittenRow]
    sessions: Mapping[UUID, Mapping[str, object]]
    """Fields of the sessions that rows belong to."""

    def sessions_outside(self, scope: Scope) -> set[UUID]:
        """Return which of its sessions are not in the scope."""
        return {session for session, fields in self.sessions.items() if not scope.has(fields)}
