"""The columns of an exported table: what each is called and may hold, where it is read and where an import puts it.

They come from the record schemas, else from the models, so that a new field is in the next export.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import models

from lots.models import Lot, Synced
from lots.models.wire import TO_WIRE, column_name
from lots.schema import Field, RecordSchema
from tastings.models import Descriptor, Flight, FlightCup, Infusion, PhotoContent, Session, TriangleTest
from teams.models import Shop, Team, User

JSON, STAMPS = "json", "stamps"
"""Kinds beside those of `lots.schema`: any JSON, and which edit set each field of a record."""

TO_LINE: Mapping[str, Callable[[Any], object]] = {**TO_WIRE, JSON: lambda held: held, STAMPS: lambda held: held}
"""By a field's kind: from what its column holds to what stands in a line."""

_NAMES: Mapping[type[models.Model], str] = {
    User: "member",
    Shop: "shop",
    Lot: "lot",
    Session: "session",
    Infusion: "infusion",
    Descriptor: "descriptor",
    TriangleTest: "triangle_test",
    PhotoContent: "photo_content",
    Flight: "flight",
    FlightCup: "flight_cup",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its field, the path it is read by, and the database column it is stored in, if it is."""

    field: Field
    read: str
    stored_in: str | None

    @property
    def name(self) -> str:
        """What it is called in a line."""
        return self.field.name


def synced_columns(model: type[Synced], *, without: Collection[str] = ()) -> tuple[Column, ...]:
    """Return the columns of a record type that travels by sync."""
    columns = [
        _column(Field(name="id", kind="reference", required=True)),
        _column(Field(name="revision", kind="integer", required=True, low=1)),
        _column(Field(name="deleted", kind="truth", required=True), stored_in="removed"),
    ]
    for field in model.schema.fields:
        if field.kind == "key":
            columns.append(Column(field=field, read=f"{field.name}__key", stored_in=None))
            said = Field(name=f"{field.name}_id", kind="reference", to="descriptor", required=True)
            columns.append(_column(said))
        else:
            columns.append(_column(field, stored_in=column_name(field)))
    told = {column.stored_in for column in columns} | {"team", "by", "created_at", "updated_at", "stamps", *without}
    others = [held for held in model._meta.concrete_fields if not told & {held.attname, held.name}]
    return (
        *columns,
        # such as a session's taster, which only the server sets
        *(_column(_field_of(held), stored_in=str(held.column)) for held in others),
        _column(Field(name="by", kind="reference", to="member", required=True), stored_in="by_id"),
        *(_column(Field(name=name, kind="moment", required=True)) for name in ("created_at", "updated_at")),
        _column(Field(name="stamps", kind=STAMPS, required=True)),
    )


def plain_columns(
    model: type[models.Model], *, schema: RecordSchema | None = None, without: Collection[str] = ()
) -> tuple[Column, ...]:
    """Return the columns of any other table but its team; what the schema says of a field holds."""
    said = schema.by_name() if schema else {}
    columns = []
    for held in model._meta.concrete_fields:
        is_counted = isinstance(held, models.AutoField)  # made by this database and no use to another
        if held.name in without or is_counted or held.related_model is Team:
            continue
        field = said.get(held.name)
        if field is None or field.kind not in TO_WIRE:
            field = _field_of(held)
        columns.append(_column(field, stored_in=str(held.column)))
    return tuple(columns)


def _column(field: Field, *, stored_in: str = "") -> Column:
    place = stored_in or field.name
    return Column(field=field, read=place, stored_in=place)


def _field_of(held: "models.Field[Any, Any]") -> Field:
    must = not held.null
    match held:
        case models.ForeignKey():
            to = _NAMES.get(held.related_model)
            return Field(name=held.name, kind="reference", to=to, required=must)
        case models.UUIDField():
            return Field(name=held.name, kind="reference", required=must)
        case models.DateTimeField():
            return Field(name=held.name, kind="moment", required=must)
        case models.DateField():
            return Field(name=held.name, kind="date", required=must)
        case models.BooleanField():
            return Field(name=held.name, kind="truth", required=must)
        case models.JSONField():
            return Field(name=held.name, kind=JSON, required=must)
        case models.FloatField():
            return Field(name=held.name, kind="number", required=must)
        case models.DecimalField():
            return Field(name=held.name, kind="number", decimals=held.decimal_places, required=must)
        case models.SmallIntegerField():
            return Field(name=held.name, kind="integer", low=-(2**15), high=2**15 - 1, required=must)
        case models.BigIntegerField() | models.IntegerField():
            bits = 63 if isinstance(held, models.BigIntegerField) else 31
            return Field(name=held.name, kind="integer", low=-(2**bits), high=2**bits - 1, required=must)
        case models.CharField():
            # may be empty wherever the model lets it: a choice among words of the program is the database's to check
            return Field(name=held.name, kind="text", longest=held.max_length or 8000)
        case _:
            raise TypeError(f"{held} has no kind of its own in an export yet")
