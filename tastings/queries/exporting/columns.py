"""The columns of an exported table: what each is called and may hold, where it is read and where an import puts it.

They come from the record schemas, else from the models, so that a new field is in the next export.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from django.db import models

from lots.models import Lot, Synced
from lots.models.wire import TO_WIRE, column_name
from lots.schema import Field, RecordSchema
from tastings.models import Descriptor, Flight, FlightCup, Infusion, PhotoContent, Pot, Session, TriangleTest
from teams.models import Shop, Team, User

JSON, STAMPS = "json", "stamps"
"""Kinds beside those of `lots.schema`: any JSON, and the stamps of a record's fields."""

TO_LINE: Mapping[str, Callable[[object], object]] = {**TO_WIRE, JSON: lambda value: value, STAMPS: lambda value: value}
"""Converters from a column's value to that of a line, by the field's kind."""

_NAMES: Mapping[type[models.Model], str] = {
    User: "member",
    Shop: "shop",
    Lot: "lot",
    Pot: "pot",
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
            columns.append(
                _column(Field(name=f"{field.name}_id", kind="reference", to="descriptor", required=field.required))
            )
        else:
            columns.append(_column(field, stored_in=column_name(field)))
    listed = {column.stored_in for column in columns}
    listed |= {"team", "by", "created_at", "updated_at", "stamps", *without}
    others = [field for field in model._meta.concrete_fields if not listed & {field.attname, field.name}]
    return (
        *columns,
        # such as a session's taster, which only the server sets
        *(_column(_field_from(field), stored_in=str(field.column)) for field in others),
        _column(Field(name="by", kind="reference", to="member", required=True), stored_in="by_id"),
        *(_column(Field(name=name, kind="moment", required=True)) for name in ("created_at", "updated_at")),
        _column(Field(name="stamps", kind=STAMPS, required=True)),
    )


def plain_columns(
    model: type[models.Model], *, schema: RecordSchema | None = None, without: Collection[str] = ()
) -> tuple[Column, ...]:
    """Return the columns of any other table but its team; the schema's description of a field counts."""
    described = schema.by_name() if schema else {}
    columns = []
    for model_field in model._meta.concrete_fields:
        is_counted = isinstance(model_field, models.AutoField)  # made by this database and no use to another
        if model_field.name in without or is_counted or model_field.related_model is Team:
            continue
        field = described.get(model_field.name)
        if field is None or field.kind not in TO_WIRE:
            field = _field_from(model_field)
        columns.append(_column(field, stored_in=str(model_field.column)))
    return tuple(columns)


def _column(field: Field, *, stored_in: str = "") -> Column:
    place = stored_in or field.name
    return Column(field=field, read=place, stored_in=place)


_KINDS: Mapping[type["models.Field[object, object]"], str] = {
    models.UUIDField: "reference",
    models.DateTimeField: "moment",  # before the date, of which it is a kind
    models.DateField: "date",
    models.BooleanField: "truth",
    models.JSONField: JSON,
    models.FloatField: "number",
}
_INTEGER_BITS: Mapping[type["models.Field[object, object]"], int] = {
    models.SmallIntegerField: 15,
    models.BigIntegerField: 63,
    models.IntegerField: 31,  # the others are kinds of it
}


def _field_from(model_field: "models.Field[object, object]") -> Field:
    """Return what a column may hold, as its model says."""
    name, required = model_field.name, not model_field.null
    match model_field:
        case models.ForeignKey():
            return Field(name=name, kind="reference", to=_NAMES.get(model_field.related_model), required=required)
        case models.DecimalField():
            return Field(name=name, kind="number", decimals=model_field.decimal_places, required=required)
        case models.CharField():
            # may be empty wherever the model allows it: the database checks choices
            return Field(name=name, kind="text", longest=model_field.max_length or 8000)
        case _:
            return _field_by_type(model_field)


def _field_by_type(model_field: "models.Field[object, object]") -> Field:
    name, required = model_field.name, not model_field.null
    for model_type, bits in _INTEGER_BITS.items():
        if isinstance(model_field, model_type):
            return Field(name=name, kind="integer", low=-(2**bits), high=2**bits - 1, required=required)
    for model_type, kind in _KINDS.items():
        if isinstance(model_field, model_type):
            return Field(name=name, kind=kind, required=required)
    raise TypeError(f"{model_field} has no kind of its own in an export yet")
