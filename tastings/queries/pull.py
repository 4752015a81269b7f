"""Pull: what changed in a team since a cursor, as one member may see it.

Revisions are given under a lock that lasts until commit, so every row up to the team's counter can be read. The counter
is read before the rows: a row written meanwhile has a later revision and comes with the next pull.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from operator import attrgetter
from typing import NamedTuple
from uuid import UUID

from django.db.models import Value
from django.db.models.fields.json import KeyTextTransform, KeyTransform

from lots.models import Synced
from lots.models.wire import TO_WIRE, column_name
from lots.schema import RecordSchema, format_stamp
from tastings.models import Infusion, Note, Session
from tastings.queries.pull_only import PULL_ONLY, pull_only_fields
from tastings.queries.records import MODELS, shared_sessions
from teams.models import Member, Team


@dataclass(frozen=True, slots=True)
class PulledPage:
    """Changes in the order of their revisions, the cursor to come back with, and whether there is more."""

    changes: list[Mapping[str, object]]
    cursor: int
    more: bool


def pull(member: Member, *, cursor: int, limit: int) -> PulledPage:
    """Return up to ``limit`` changed records after ``cursor``.

    Someone else's private or blind session, with its infusions and notes, comes as a deletion if others could see it
    before; else it does not come at all, and the page may hold fewer changes than the limit though there is more.
    """
    counter = Team.objects.values_list("revision", flat=True).get(id=member.team_id)
    found: list[_Row | _PullOnlyRow] = []
    for model in MODELS.values():
        rows = model._default_manager.filter(team_id=member.team_id, revision__gt=cursor, revision__lte=counter)
        columns = _columns(model)
        found += [
            _Row(row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7], model.schema, row[8:])
            for row in rows.order_by("revision").values_list(
                *_HEAD, _AUTHOR.get(model, "author_id"), _SESSION.get(model, "id"), *columns
            )[: limit + 1]
        ]
    first, *others = (
        model._default_manager.filter(team_id=member.team_id, revision__gt=cursor, revision__lte=counter)
        .order_by("revision")
        .values_list(Value(name), *_PULL_ONLY_HEAD.get(name, ("id", "revision", "id")))[: limit + 1]
        for name, model in PULL_ONLY.items()
    )
    found += [_PullOnlyRow(*row) for row in first.union(*others, all=True)]
    found.sort(key=_by_revision)
    page, more = found[:limit], len(found) > limit
    deleted, skipped = _invisible_sessions(member, page)
    shown = [row for row in page if row.session not in skipped]
    fields = {
        type_name: pull_only_fields(member, type_name, [row.id for row in shown if row.type == type_name])
        for type_name in PULL_ONLY.keys() & {row.type for row in shown}
    }
    changes = [
        row.payload(deleted=row.removed or row.session in deleted)
        if isinstance(row, _Row)
        else row.payload(fields[row.type].get(row.id))
        for row in shown
    ]
    return PulledPage(changes, page[-1].revision if more else max(counter, cursor), more)


_LATEST_STAMP = KeyTextTransform(0, KeyTransform(-1, "stamps"))
"""Moment of the latest edit: stamps are stored in the order of their moments."""
_HEAD = ("id", "revision", "removed", "by_id", _LATEST_STAMP, "updated_at")
_AUTHOR: Mapping[type[Synced], str] = {Session: "taster_id"}
"""Column of who made a record where it is not called so."""
_SESSION: Mapping[type[Synced], str] = {Infusion: "session_id", Note: "session_id"}
"""Column of a record's session; of a session, and of records without one, the id."""
_PULL_ONLY_HEAD = {"member": ("user_id", "revision", "user_id"), "photo": ("id", "revision", "session_id")}
"""Columns of id, revision and session of what phones only pull."""
_by_revision = attrgetter("revision")


class _Row(NamedTuple):
    """A stored record as read: no model object, since a page is hundreds."""

    id: UUID
    revision: int
    removed: bool
    by: UUID
    latest: str | None
    updated_at: datetime
    author: UUID
    session: UUID
    schema: RecordSchema
    values: tuple[object, ...]

    @property
    def type(self) -> str:
        """Name of its record type."""
        return self.schema.type

    def payload(self, *, deleted: bool) -> Mapping[str, object]:
        """Return the change as a phone gets it."""
        fields: dict[str, object] = {}
        if not deleted:
            for (name, convert), value in zip(_converters(self.schema.type), self.values, strict=True):
                fields[name] = convert(value)
        return {
            "type": self.schema.type,
            "id": str(self.id),
            "revision": self.revision,
            "deleted": deleted,
            "fields": fields,
            "at": self.latest or format_stamp(self.updated_at),
            "by": str(self.by),
            "author": str(self.author),
        }


class _PullOnlyRow(NamedTuple):
    """A row that phones only pull: its fields are read once it is known to be in the page."""

    type: str
    id: UUID
    revision: int
    session: UUID | None

    def payload(self, fields: Mapping[str, object] | None) -> Mapping[str, object]:
        """Return the change as a phone gets it; without fields the row is not there for the member."""
        return {
            "type": self.type,
            "id": str(self.id),
            "revision": self.revision,
            "deleted": fields is None,
            "fields": fields or {},
        }


_SERVER_COLUMNS: Mapping[str, tuple[str, Callable[[object], object]]] = {
    "taster": ("taster_id", str),
    "built_in": ("team_id", lambda team: team is None),
}


def _columns(model: type[Synced]) -> list[str]:
    named = ["descriptor__key" if field.kind == "key" else column_name(field) for field in model.schema.fields]
    return named + [_SERVER_COLUMNS[name][0] for name in model.schema.server_fields]


@cache
def _converters(type_name: str) -> tuple[tuple[str, Callable[[object], object]], ...]:
    """Return each field's name and the function from its column to its wire value, in the order of `_columns`."""
    schema = MODELS[type_name].schema
    own = tuple((field.name, TO_WIRE[field.kind]) for field in schema.fields)
    return own + tuple((name, _SERVER_COLUMNS[name][1]) for name in schema.server_fields)


_OF_SESSIONS = ("session", "infusion", "note", "photo")


def _invisible_sessions(member: Member, rows: Collection[_Row | _PullOnlyRow]) -> tuple[set[UUID], set[UUID]]:
    """Return the sessions of these rows that the member can no longer see, and those that they never could."""
    ids = {row.session for row in rows if row.session and row.type in _OF_SESSIONS}
    no_longer: set[UUID] = set()
    never: set[UUID] = set()
    if ids:
        others = Session.objects.filter(~shared_sessions(), id__in=ids).exclude(taster_id=member.user_id)
        for session, shared_once in others.values_list("id", "shared_once"):
            (no_longer if shared_once else never).add(session)
    return no_longer, never
