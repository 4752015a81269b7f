"""The design of a flight: who tastes what, how, and who pours; how it is checked and stored."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TypedDict
from uuid import UUID

import msgspec
from django.utils.translation import gettext as _

from lots.models import Lot
from tastings.maths.flights.factors import COVERED_BOWL_WEIGHTS, FACTORS
from tastings.models import Flight, FlightLot, FlightMember, Session
from tastings.schemas import FLIGHT, MOST_CUPS
from teams.errors import Problem
from teams.models import Member

PLANNED_FROM = ("lots", "tasters", "cups_per_sitting", "sittings", "repeats", "reference")
"""Fields that a serving plan follows from."""
_COLUMNS = ("name", "protocol", "infusions", "cups_per_sitting", "sittings", "repeats")
_LISTS = ("lots", "tasters", "pourers", "expected_order")


class FlightColumns(TypedDict):
    """A design's columns in the flight's own row."""

    name: str
    protocol: str
    infusions: int | None
    cups_per_sitting: int
    sittings: int
    repeats: int
    remarks: str
    reference_id: UUID | None
    expected_order: list[str]
    weights: dict[str, int | float | None]
    weights_for: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightDesign:
    """Every field that a buyer sets, by its name in `tastings.schemas.FLIGHT`."""

    name: str
    lots: list[UUID]
    tasters: list[UUID]
    pourers: list[UUID]
    protocol: str
    infusions: int | None
    cups_per_sitting: int
    sittings: int
    repeats: int
    reference: UUID | None
    expected_order: list[UUID]
    weights_for: str | None
    weight_dry_leaf_pct: int | float | None
    weight_liquor_colour_pct: int | float | None
    weight_aroma_pct: int | float | None
    weight_taste_pct: int | float | None
    weight_spent_leaf_pct: int | float | None
    remarks: str | None

    @classmethod
    def of(cls, payload: Mapping[str, object], *, stored: Flight | None) -> "FlightDesign":
        """Return the clean values of a request, the rest as it is stored or by default."""
        values: dict[str, object] = {field.name: field.default for field in FLIGHT.fields}
        if stored is not None:
            values |= _stored_values(stored)
        if any(name == "weights_for" or name.startswith("weight_") for name in payload):
            values |= {name: None for name in values if name.startswith("weight")}
        values |= payload
        return msgspec.convert(values | {name: values[name] or [] for name in _LISTS}, cls)

    @property
    def own_weights(self) -> dict[str, int | float | None]:
        """The team's own weight of every factor; None where it is not given."""
        return {name: getattr(self, f"weight_{name}_pct") for name in FACTORS}

    def problems(self, member: Member, *, stored: Flight | None) -> list[Problem]:
        """Return what is wrong with it for the member's team."""
        problems = [*self._lots(member), *self._people(member, stored), *self._sizes(), *self._weights()]
        return problems if stored is None else [*problems, *self._changed_lots(member, stored)]

    def _lots(self, member: Member) -> Iterable[Problem]:
        live = Lot.objects.filter(team_id=member.team_id, removed=False)
        status = dict(live.filter(id__in=self.lots).values_list("id", "status"))
        if unknown := [lot for lot in self.lots if lot not in status]:
            yield Problem(
                "lots", "unknown_parent", _("the team has no such lot: %(unknown)s") % {"unknown": unknown[0]}
            )
        elif other := [lot for lot in self.lots if status[lot] != "sample"]:
            yield Problem("lots", "not_sample", _("is no sample: %(other)s") % {"other": other[0]})
        if self.reference is not None:
            if self.reference in self.lots:
                yield Problem("reference", "itself", _("the reference is known, so it is no candidate"))
            elif not live.filter(id=self.reference).exists():
                yield Problem("reference", "unknown_parent", _("the team has no such lot"))
        if set(self.expected_order) - set(self.lots):
            yield Problem("expected_order", "unknown_parent", _("names a lot that is no candidate"))

    def _changed_lots(self, member: Member, stored: Flight) -> Iterable[Problem]:
        """Refuse changes of samples by which somebody could learn what is in a cup that they have tasted.

        A tasted cup stays when its sample is taken out, so that the number of cups shows whether it was of that sample.
        """
        before, after = set(_lots_of(stored)), set(self.lots)
        tasted = Session.objects.filter(flight_cup__flight=stored)
        if before != after and tasted.filter(taster_id=member.user_id).exists():
            yield Problem("lots", "not_allowed", _("someone who has tasted must not learn which sample a cup was of"))
        if tasted.filter(flight_cup__lot_id__in=after - before).exists():
            yield Problem("lots", "not_allowed", _("a sample that was tasted and taken out does not come back"))

    def _people(self, member: Member, stored: Flight | None) -> Iterable[Problem]:
        here = Member.objects.filter(team_id=member.team_id, left_at=None, user_id__in=[*self.tasters, *self.pourers])
        may_write = {row.user_id: row.may_write for row in here}
        for name, people in (("tasters", self.tasters), ("pourers", self.pourers)):
            if unknown := [person for person in people if person not in may_write]:
                yield Problem(
                    name, "unknown_parent", _("is no member of this team: %(unknown)s") % {"unknown": unknown[0]}
                )
        if mute := [taster for taster in self.tasters if not may_write.get(taster, True)]:
            yield Problem(
                "tasters", "not_allowed", _("only reads, so cannot note what is tasted: %(mute)s") % {"mute": mute[0]}
            )
        if set(self.tasters) & set(self.pourers):
            yield Problem("pourers", "not_allowed", _("who pours knows the codes and cannot taste"))
        if stored is not None:
            poured = FlightMember.objects.filter(flight=stored, pours=True, user_id__in=self.tasters)
            if poured.exists():
                yield Problem("tasters", "not_allowed", _("someone who has poured knows the codes and cannot taste"))
            tasted = Session.objects.filter(flight_cup__flight=stored, taster_id__in=self.pourers)
            if tasted.exists():
                yield Problem("pourers", "not_allowed", _("someone who has tasted must not learn the codes"))

    def _sizes(self) -> Iterable[Problem]:
        cups = len(self.tasters) * self.cups_per_sitting * self.sittings
        if cups > MOST_CUPS:
            yield Problem(
                "cups_per_sitting",
                "range",
                _("makes %(cups)s cups; three-digit codes last for %(most_cups)s")
                % {"cups": cups, "most_cups": MOST_CUPS},
            )
        if self.infusions is not None and self.protocol != "small_pot":
            yield Problem("infusions", "not_allowed", _("is for a small pot; the bowls have theirs"))
        least = 1 + (self.reference is not None)
        if 0 < self.cups_per_sitting < least:
            yield Problem("cups_per_sitting", "range", _("leaves no cup beside the reference"))

    def _weights(self) -> Iterable[Problem]:
        weights = [weight for weight in self.own_weights.values() if weight is not None]
        if self.weights_for:
            if weights:
                yield Problem("weights_for", "one_of", _("a preset or weights of your own, not both"))
        elif weights and (len(weights) < len(FACTORS) or abs(sum(weights) - 100) > 1e-6):
            missing = next((name for name, weight in self.own_weights.items() if weight is None), FACTORS[0])
            yield Problem(f"weight_{missing}_pct", "range", _("all five, and they add up to 100"))

    def columns(self) -> FlightColumns:
        """Return the design's columns in the flight's own row."""
        weights = COVERED_BOWL_WEIGHTS[self.weights_for] if self.weights_for else self.own_weights
        return {
            "name": self.name,
            "protocol": self.protocol,
            "infusions": self.infusions,
            "cups_per_sitting": self.cups_per_sitting,
            "sittings": self.sittings,
            "repeats": self.repeats,
            "remarks": self.remarks or "",
            "reference_id": self.reference,
            "expected_order": [str(lot) for lot in self.expected_order],
            "weights": dict(weights) if None not in weights.values() else {},
            "weights_for": self.weights_for or "",
        }

    def matches(self, other: "FlightDesign") -> bool:
        """Whether both make the same flight; the order of lots and people does not matter."""
        sets = ((set(getattr(self, name)), set(getattr(other, name))) for name in ("lots", "tasters", "pourers"))
        return self.columns() == other.columns() and all(mine == theirs for mine, theirs in sets)

    def store_lots_and_people(self, flight: Flight, *, now: datetime) -> None:
        """Write candidates and people; mark those that are left out now."""
        _upsert(FlightLot, flight, "lot_id", {lot: {} for lot in self.lots}, now=now)
        people: dict[UUID, Mapping[str, object]] = {taster: {"pours": False} for taster in self.tasters}
        people |= {pourer: {"pours": True} for pourer in self.pourers}
        _upsert(FlightMember, flight, "user_id", people, now=now)


def _lots_of(flight: Flight) -> list[UUID]:
    return list(FlightLot.objects.filter(flight=flight, out_at=None).values_list("lot_id", flat=True))


def _stored_values(flight: Flight) -> dict[str, object]:
    people = FlightMember.objects.filter(flight=flight, out_at=None)
    own_weights = flight.weights if flight.weights and not flight.weights_for else {}
    return {
        **{name: getattr(flight, name) for name in (*_COLUMNS, "remarks", "expected_order")},
        "lots": _lots_of(flight),
        "tasters": list(people.filter(pours=False).values_list("user_id", flat=True)),
        "pourers": list(people.filter(pours=True).values_list("user_id", flat=True)),
        "reference": flight.reference_id,
        "weights_for": flight.weights_for or None,
        **{f"weight_{name}_pct": own_weights.get(name) for name in FACTORS},
    }


def _upsert(
    model: type[FlightLot] | type[FlightMember],
    flight: Flight,
    key: str,
    columns_by_id: Mapping[UUID, Mapping[str, object]],
    *,
    now: datetime,
) -> None:
    rows = model._default_manager.filter(flight=flight)
    rows.filter(out_at=None).exclude(**{f"{key}__in": list(columns_by_id)}).update(out_at=now)
    new = {"flight": flight, "team_id": flight.team_id}
    created = [model(**new, **{key: row_id}, **columns) for row_id, columns in columns_by_id.items()]
    model._default_manager.bulk_create(
        created,  # type: ignore[arg-type]
        update_conflicts=True,
        unique_fields=["flight", key.removesuffix("_id")],
        update_fields=["out_at", *next(iter(columns_by_id.values()), {})],
    )
