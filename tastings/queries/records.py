"""Reads of the record types. Each starts from a member, so tenancy and privacy are decided here."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar
from uuid import UUID

from django.db.models import Model, Q, QuerySet

from lots.merge import DELETED, unpack
from lots.models import FieldHistory, Lot, Synced
from lots.models.wire import column_name
from lots.schema import Field, InvalidValue, RecordSchema, clean_value, query_value
from lots.wording import field_problem
from tastings.models import Descriptor, Infusion, Note, Pot, Session
from tastings.wording.lots import status_with_day
from teams.errors import Invalid, NotFound
from teams.models import Member

_Row = TypeVar("_Row", bound=Synced)
_Found = TypeVar("_Found", bound=Model)
MODELS: Mapping[str, type[Synced]] = {
    "lot": Lot,
    "pot": Pot,
    "session": Session,
    "infusion": Infusion,
    "note": Note,
    "descriptor": Descriptor,
}


def first_or_not_found(rows: QuerySet[_Found]) -> _Found:
    """Return the first of the rows; raise NotFound when there is none."""
    row = rows.first()
    if row is None:
        raise NotFound
    return row


@dataclass(frozen=True, slots=True)
class Record:
    """A record as REST returns it: ``by`` edited it last, ``author`` made it."""

    id: UUID
    revision: int
    fields: Mapping[str, object]
    by: UUID | None
    author: UUID | None

    @classmethod
    def from_row(cls, row: Synced) -> "Record":
        """Return the record of a row."""
        return cls(row.id, row.revision, row.wire_values(), row.by_id, row.author_id)


def with_descriptors(rows: QuerySet[_Row]) -> QuerySet[_Row]:
    """Read notes with their descriptors, since notes name them by key; other records as they are."""
    related: tuple[str, ...] = ("descriptor",) if rows.model is Note else ()
    return rows.select_related(*related) if related else rows


def shared_sessions(to: str = "") -> Q:
    """Return the condition of sessions that the team shares: neither private nor still blind.

    ``to`` is the path from the filtered rows to their session, as ``session__``.
    """
    return Q(**{f"{to}private": False, f"{to}lot__isnull": False})


def visible_sessions(member: Member, to: str = "") -> Q:
    """Return the condition of sessions that the member may see: shared ones and their own."""
    return shared_sessions(to) | Q(**{f"{to}taster_id": member.user_id})


def visible_records(member: Member, type_name: str) -> QuerySet[Synced]:
    """Return the records of a type that the member may see, tombstones included."""
    rows = MODELS[type_name]._default_manager.all()
    mine = Q(team_id=member.team_id)
    match type_name:
        case "session":
            return rows.filter(mine, visible_sessions(member))
        case "infusion" | "note":
            return with_descriptors(rows).filter(mine, visible_sessions(member, "session__"))
        case "descriptor":
            return rows.filter(mine | Q(team=None))
        case _:
            return rows.filter(mine)


def _live(member: Member, type_name: str) -> QuerySet[Synced]:
    rows = visible_records(member, type_name).filter(removed=False)
    return rows.filter(Q(session__removed=False)) if type_name in ("infusion", "note") else rows


def record_for(member: Member, type_name: str, record_id: UUID) -> Record:
    """Return one live record; raise NotFound for an absent, removed, foreign or hidden one, without a difference."""
    return Record.from_row(first_or_not_found(_live(member, type_name).filter(id=record_id)))


def list_records(
    member: Member, type_name: str, *, filters: Mapping[str, str], after: UUID | None, limit: int
) -> Sequence[Record]:
    """Return live records in the order of their ids, those after ``after`` only, at most ``limit``.

    ``filters`` are by names that the schema lists; raise Invalid for a value that the field cannot have.
    """
    rows = _live(member, type_name).filter(_condition(MODELS[type_name].schema, filters))
    if after is not None:
        rows = rows.filter(id__gt=after)
    return [Record.from_row(row) for row in rows.order_by("id")[:limit]]


def deleted_records(member: Member, type_name: str, session: UUID) -> Sequence[Record]:
    """Return the infusions or notes of a session that are deleted, the last deleted first."""
    rows = visible_records(member, type_name).filter(Q(session=session), removed=True)
    return [Record.from_row(row) for row in rows.order_by("-revision")]


def _condition(schema: RecordSchema, filters: Mapping[str, str]) -> Q:
    condition, problems = Q(), []
    known = {**schema.by_name(), "taster": Field(name="taster", kind="reference")}
    for name, text in filters.items():
        field = known[name]
        try:
            value = clean_value(field, query_value(field, text))
        except InvalidValue as error:
            problems.append(field_problem(name, error.fault))
            continue
        condition &= Q(**{"descriptor__key" if field.kind == "key" else column_name(field): value})
    if problems:
        raise Invalid(problems=problems)
    return condition


def names_of_lots(member: Member) -> dict[str, str]:
    """Return the names of the team's lots, removed ones included, by id."""
    return {str(lot): name for lot, name in Lot.objects.filter(team_id=member.team_id).values_list("id", "name")}


def names_of_live_lots(member: Member) -> dict[str, str]:
    """Return the names of the team's lots by id, in the order of the names."""
    lots = Lot.objects.filter(team_id=member.team_id, removed=False).order_by("name", "id")
    return {str(lot): name for lot, name in lots.values_list("id", "name")}


def choices_of_lots(member: Member) -> dict[str, str]:
    """Return the names of the team's lots by id, each with its status and day, as a form offers them."""
    lots = Lot.objects.filter(team_id=member.team_id, removed=False).order_by("name", "status", "id")
    return {
        str(lot): " \u00b7 ".join(filter(None, (name, status_with_day(status, arrived_on or created_at))))
        for lot, name, status, arrived_on, created_at in lots.values_list(
            "id", "name", "status", "arrived_on", "created_at"
        )
    }


def history_for(member: Member, type_name: str, record_id: UUID) -> Mapping[str, list[dict[str, object]]]:
    """Return who set each current value, and every value that lost; also of removed records."""
    row = first_or_not_found(visible_records(member, type_name).filter(id=record_id, team_id=member.team_id))
    values = row.stamped().values
    stamped = [
        {"field": name, "value": values.get(name), "at": stamp.at, "by": stamp.by,
         "device": stamp.device, "claimed_at": stamp.reported or None}
        for name, stamp in sorted(unpack(row.stamps).items())
    ]  # fmt: skip
    lost = FieldHistory.objects.filter(team_id=member.team_id, type=type_name, record=record_id).order_by("-at", "id")
    overwritten = [
        {"field": item.field, "value": item.value, "at": f"{item.at:%Y-%m-%dT%H:%M:%S.%fZ}", "by": str(item.by_id),
         "device": str(item.device), "claimed_at": item.claimed_at or None}
        for item in lost
    ]  # fmt: skip
    # a later edit brings a deleted record back, and leaves the deletion's stamp where it is
    undone = [] if row.removed else [entry for entry in stamped if entry["field"] == DELETED]
    return {
        "current": [entry for entry in stamped if entry not in undone],
        "overwritten": sorted([*overwritten, *undone], key=lambda entry: str(entry["at"]), reverse=True),
    }


def was_made_with(member: Member, type_name: str, record_id: UUID, *, fields: Mapping[str, object]) -> bool:
    """Whether the member made this live record with these values; each is the present one or was overwritten since."""
    row = _live(member, type_name).filter(id=record_id, team_id=member.team_id).first()
    if row is None or row.author_id != member.user_id:
        return False
    present, history = row.stamped().values, history_for(member, type_name, record_id)
    changed = [name for name, value in fields.items() if present.get(name) != value]
    overwritten = [(entry["field"], entry["value"], entry["by"]) for entry in history["overwritten"]]
    return all((name, fields[name], str(member.user_id)) in overwritten for name in changed)
