"""What every record that travels by sync has beside its own fields, and the constraints its schema asks for."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from lots.merge import DELETED, StampedRecord, unpack
from lots.models.wire import TO_WIRE, column_name
from lots.schema import Field, RecordSchema
from teams.models import Team, User


class Synced(models.Model):
    """A record whose id a client made.

    ``revision`` is its place in the team's order of commits, unique within the team. ``stamps`` holds, in the form
    of `lots.merge.pack`, which edit set each field. A removed record stays as a tombstone.

    References to other records carry no foreign key of Django's: the migrations declare them over team and id
    together, so that no record can refer to another team's.
    """

    id = models.UUIDField(primary_key=True, editable=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+", db_index=False)
    revision = models.BigIntegerField()
    removed = models.BooleanField(default=False)
    stamps = models.JSONField(default=list)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", db_index=False)
    """Who edited it last."""
    author = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", db_index=False)
    """Who made it, which never changes."""
    created_at = models.DateTimeField()
    updated_at = models.DateTimeField()

    schema: ClassVar[RecordSchema]

    class Meta:
        abstract = True

    def wire_value(self, field: Field) -> object:
        """Return one field as it travels."""
        return TO_WIRE[field.kind](getattr(self, column_name(field)))

    def wire_values(self) -> dict[str, object]:
        """Return every field as it travels, those the server sets included."""
        return {field.name: self.wire_value(field) for field in self.schema.fields} | self.server_values()

    def server_values(self) -> dict[str, object]:
        """Return the fields that only the server sets."""
        return {}

    def stamped(self) -> StampedRecord:
        """Return the record as `lots.merge` works on it."""
        stamps = unpack(self.stamps)
        values = {field.name: self.wire_value(field) for field in self.schema.fields}
        return StampedRecord(values | ({DELETED: True} if DELETED in stamps else {}), stamps)


def schema_constraints(schema: RecordSchema) -> list[models.BaseConstraint]:
    """Return database constraints for every limit, choice and order that the schema declares."""
    constraints: list[models.BaseConstraint] = [
        models.UniqueConstraint(fields=["team", "revision"], name=f"{schema.type}_revision_once")
    ]
    if schema.is_parent:  # what its children's foreign keys point at: team and id together
        constraints.append(models.UniqueConstraint(fields=["team", "id"], name=f"{schema.type}_of_team"))
    for field in schema.fields:
        for name, condition in _conditions(field):
            constraints.append(models.CheckConstraint(condition=condition, name=f"{schema.type}_{field.name}_{name}"))
    for low, high in schema.ordered_pairs:
        unknown = Q(**{f"{low}__isnull": True}) | Q(**{f"{high}__isnull": True})
        constraints.append(
            models.CheckConstraint(
                condition=unknown | Q(**{f"{low}__lte": F(high)}), name=f"{schema.type}_{low}_up_to_high"
            )
        )
    return constraints


def tombstone_index(schema: RecordSchema) -> models.Index:
    """Return the index that finds old tombstones without reading records that are not deleted."""
    return models.Index(fields=["team", "updated_at"], condition=Q(removed=True), name=f"{schema.type}_removed")


def _conditions(field: Field) -> list[tuple[str, Q]]:
    named: list[tuple[str, Q]] = []
    limits = {"gte": field.low, "gt": field.above, "lte": field.high}
    if within := {f"{field.name}__{word}": limit for word, limit in limits.items() if limit is not None}:
        named.append(("range", Q(**within)))
    if field.choices:
        known = list(field.choices) if field.required else [*field.choices, ""]
        named.append(("choice", Q(**{f"{field.name}__in": known})))
    if field.required and field.kind == "text":
        named.append(("given", ~Q(**{field.name: ""})))
    if field.pattern and field.kind == "text":
        fits = Q(**{f"{field.name}__regex": f"^{field.pattern}$"})
        named.append(("form", fits if field.required else fits | Q(**{field.name: ""})))
    return named
