"""Rows as a pull reads them: tuples instead of model objects, since a page is hundreds."""

from collections.abc import Callable, Mapping
from datetime import datetime
from functools import cache
from typing import NamedTuple
from uuid import UUID

from django.db.models import QuerySet
from django.db.models.fields.json import KeyTextTransform, KeyTransform

from lots.models import Synced
from lots.models.wire import TO_WIRE, column_name
from lots.schema import RecordSchema, format_stamp
from tastings.models import Infusion, Note, Session
from tastings.queries.records import MODELS
from tastings.queries.written_rows import WrittenRow, record_change

_LATEST_STAMP = KeyTextTransform(0, KeyTransform(-1, "stamps"))
"""SQL of the moment of the latest edit: stamps are stored in the order of their moments."""
_HEAD = ("id", "revision", "removed", "by_id", _LATEST_STAMP, "updated_at")
_AUTHOR: Mapping[type[Synced], str] = {Session: "taster_id"}
"""Column of a record's author where it has another name."""
_SESSION: Mapping[type[Synced], str] = {Infusion: "session_id", Note: "session_id"}
"""Column of a record's session; its id for a session and for records without one."""


def read_rows(model: type[Synced], rows: QuerySet[Synced]) -> list["PulledRow"]:
    """Read a query's rows, in its order."""
    heads = (*_HEAD, _AUTHOR.get(model, "author_id"), _SESSION.get(model, "id"))
    return [
        PulledRow(row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7], model.schema, row[8:])
        for row in rows.values_list(*heads, *_columns(model))
    ]


def out_of_scope(row: "PulledRow | PullOnlyRow | WrittenRow") -> Mapping[str, object]:
    """Return the change that tells a phone to forget a row, which is not deleted."""
    head = {"type": row.type, "id": str(row.id), "revision": row.revision}
    return head | {"deleted": True, "out_of_scope": True, "fields": {}}


class PulledRow(NamedTuple):
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
        return record_change(
            self.schema.type,
            self.id,
            revision=self.revision,
            deleted=deleted,
            fields=fields,
            at=self.latest or format_stamp(self.updated_at),
            by=str(self.by),
            author=str(self.author),
        )


class PullOnlyRow(NamedTuple):
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
