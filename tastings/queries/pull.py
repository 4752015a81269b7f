"""What changed in a team since a cursor, as one member may see it.

Revisions are handed out under a lock that is held until commit, so everything up to the team's counter is there to
read. The counter is read before the rows: a row written meanwhile carries a later revision and comes next time.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import cache
from operator import attrgetter
from typing import NamedTuple
from uuid import UUID

from lots.models import Synced
from lots.models.wire import TO_WIRE, column_name
from lots.schema import RecordSchema
from tastings.models import Infusion, Note, Session
from tastings.queries.records import MODELS, shared_sessions
from teams.models import Member, Team


@dataclass(frozen=True, slots=True)
class Page:
    """Changes in the order of their revisions, the cursor to come back with, and whether there is more."""

    changes: list[Mapping[str, object]]
    cursor: int
    more: bool


def pull(member: Member, *, cursor: int, limit: int) -> Page:
    """Return up to ``limit`` changed records after ``cursor``.

    A session that is someone else's and private or blind, and what hangs on it, comes as a deletion if others could
    see it once; else it does not come at all, and the page may hold fewer changes than the limit though there is more.
    """
    counter = Team.objects.values_list("revision", flat=True).get(id=member.team_id)
    found: list[_Row] = []
    for model in MODELS.values():
        rows = model._default_manager.filter(team_id=member.team_id, revision__gt=cursor, revision__lte=counter)
        columns = _columns(model)
        found += [
            _Row(row[0], row[1], row[2], row[3], row[4], model.schema, row[5:])
            for row in rows.order_by("revision").values_list(*_HEAD, _SESSION.get(model, "id"), *columns)[: limit + 1]
        ]
    found.sort(key=_by_revision)
    page, more = found[:limit], len(found) > limit
    hidden, unseen = _hidden(member, page)
    changes = [row.told(gone=row.removed or row.session in hidden) for row in page if row.session not in unseen]
    # a cursor ahead of the counter (a restored backup) is not moved back: it only ever grows
    return Page(changes, page[-1].revision if more else max(counter, cursor), more)


_HEAD = ("id", "revision", "removed", "by_id")
_SESSION: Mapping[type[Synced], str] = {Infusion: "session_id", Note: "session_id"}
"""What a record hangs on; a session is its own, and for others the id stands in, which is no session's."""
_by_revision = attrgetter("revision")


class _Row(NamedTuple):
    """A stored record as read: no model object, since a page is hundreds."""

    id: UUID
    revision: int
    removed: bool
    by: UUID
    session: UUID
    schema: RecordSchema
    held: tuple[object, ...]

    def told(self, *, gone: bool) -> Mapping[str, object]:
        """Return the change as a phone gets it."""
        fields: dict[str, object] = {}
        if not gone:
            for (name, convert), value in zip(_telling(self.schema.type), self.held, strict=True):
                fields[name] = convert(value)
        return {
            "type": self.schema.type,
            "id": str(self.id),
            "revision": self.revision,
            "deleted": gone,
            "fields": fields,
            "by": str(self.by),
        }


_SERVER_COLUMNS: Mapping[str, tuple[str, Callable[[object], object]]] = {
    "taster": ("taster_id", str),
    "built_in": ("team_id", lambda team: team is None),
}


def _columns(model: type[Synced]) -> list[str]:
    named = ["descriptor__key" if field.kind == "key" else column_name(field) for field in model.schema.fields]
    return named + [_SERVER_COLUMNS[name][0] for name in model.schema.server_fields]


@cache
def _telling(type_name: str) -> tuple[tuple[str, Callable[[object], object]], ...]:
    """Return each field's name and how its column becomes its wire value, in the order of `_columns`."""
    schema = MODELS[type_name].schema
    own = tuple((field.name, TO_WIRE[field.kind]) for field in schema.fields)
    return own + tuple((name, _SERVER_COLUMNS[name][1]) for name in schema.server_fields)


def _hidden(member: Member, rows: Collection[_Row]) -> tuple[set[UUID], set[UUID]]:
    """Return the sessions of these rows that the member may no longer see, and those they never could."""
    ids = {row.session for row in rows if row.schema.type in ("session", "infusion", "note")}
    hidden: set[UUID] = set()
    unseen: set[UUID] = set()
    if ids:
        others = Session.objects.filter(~shared_sessions(), id__in=ids).exclude(taster_id=member.user_id)
        for session, shared_once in others.values_list("id", "shared_once"):
            (hidden if shared_once else unseen).add(session)
    return hidden, unseen
