"""Setting a flight up and changing it: who tastes what, how, and who pours."""

import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from lots.models import Lot
from lots.schema import clean_fields, record_faults
from lots.wording import field_problem
from tastings.actions.flights.asking import ask_for_plan
from tastings.errors import WrongState
from tastings.maths.flights.factors import COVERED_BOWL_WEIGHTS, FACTORS
from tastings.models import Flight, FlightLot, FlightMember, Session
from tastings.queries.flights import flight_row, must_decide
from tastings.schemas import FLIGHT, MOST_CUPS
from teams.actions.revisions import next_revision
from teams.errors import Invalid, Problem
from teams.models import Member

_DESIGN = ("lots", "tasters", "cups_per_sitting", "sittings", "repeats", "reference")
"""What a plan follows from."""
_PLAIN = ("name", "protocol", "infusions", "cups_per_sitting", "sittings", "repeats", "remarks")


@transaction.atomic
def set_up_flight(member: Member, *, flight: UUID, sent: Mapping[str, object], now: datetime) -> None:
    """Make a flight under the id its client made, and ask for its plan.

    Raises
    ------
    Invalid
        A field does not hold, a lot is no sample of the team, a person no member, or the id is taken.
    """
    must_decide(member)
    values, faults = clean_fields(FLIGHT, sent)
    faults += [fault for fault in record_faults(FLIGHT, values) if fault[0] not in dict(faults)]
    wanted = _Design.of(values, held=None)
    problems = [field_problem(name, fault) for name, fault in faults]
    if problems := problems or wanted.problems(member, flight=None):
        raise Invalid(problems=problems)
    made = Flight(
        id=flight,
        team_id=member.team_id,
        seed=secrets.randbits(62),
        by_id=member.user_id,
        created_at=now,
        **wanted.columns(),
    )
    try:
        with transaction.atomic():
            made.save(force_insert=True)
    except IntegrityError as error:
        raise Invalid(problems=[Problem("id", "taken", _("choose another id"))]) from error
    wanted.store(made, now=now)
    ask_for_plan(made, now=now)
    next_revision(member.team_id)


@transaction.atomic
def change_flight(member: Member, *, flight: UUID, sent: Mapping[str, object], now: datetime) -> None:
    """Change the fields sent; a change of who tastes what is planned anew around what was tasted already.

    Raises
    ------
    WrongState
        The flight is revealed or called off.
    Invalid
        A field does not hold.
    """
    must_decide(member)
    next_revision(member.team_id)
    held = flight_row(member, flight, lock=True)
    if not held.is_blind:
        raise WrongState(_("a flight that is revealed or called off does not change"))
    values, faults = clean_fields(FLIGHT, sent)
    problems = [field_problem(name, fault) for name, fault in faults]
    wanted = _Design.of(values, held=held)
    if problems := problems or wanted.problems(member, flight=held):
        raise Invalid(problems=problems)
    Flight.objects.filter(id=flight).update(**wanted.columns())
    wanted.store(held, now=now)
    if any(name in values for name in _DESIGN):
        held.refresh_from_db()
        ask_for_plan(held, now=now)


@transaction.atomic
def call_off_flight(member: Member, *, flight: UUID) -> None:
    """Call a flight off before anything was tasted.

    Raises
    ------
    WrongState
        A cup was tasted already: then it is revealed, early if need be, so that no note stays without its lot.
    """
    must_decide(member)
    next_revision(member.team_id)
    held = flight_row(member, flight, lock=True)
    if not held.is_blind:
        raise WrongState(_("it is revealed or called off already"))
    if Session.objects.filter(flight_cup__flight=held, removed=False).exists():
        raise WrongState(_("cups were tasted already: reveal it, with a reason"))
    Flight.objects.filter(id=flight).update(state=Flight.State.CALLED_OFF)


@dataclass(frozen=True, slots=True)
class _Design:
    """A flight as it is to be: every field of its shape."""

    values: Mapping[str, object]

    @classmethod
    def of(cls, sent: Mapping[str, object], *, held: Flight | None) -> "_Design":
        values = {field.name: field.default for field in FLIGHT.fields} | (_held(held) if held else {})
        if any(name == "weights_for" or name.startswith("weight_") for name in sent):
            values |= {name: None for name in values if name.startswith("weight")}
        return cls(values | dict(sent))

    def ids(self, name: str) -> list[UUID]:
        return [UUID(text) for text in cast("list[str]", self.values.get(name) or [])]

    def number(self, name: str) -> int:
        return int(cast("int", self.values.get(name) or 0))

    def problems(self, member: Member, *, flight: Flight | None) -> list[Problem]:
        found = [*self._lots(member), *self._people(member, flight), *self._sizes(), *self._weights()]
        return list(found)

    def _lots(self, member: Member) -> Iterable[Problem]:
        lots = self.ids("lots")
        live = Lot.objects.filter(team_id=member.team_id, removed=False)
        status = dict(live.filter(id__in=lots).values_list("id", "status"))
        if unknown := [lot for lot in lots if lot not in status]:
            yield Problem(
                "lots", "unknown_parent", _("the team has no such lot: %(unknown)s") % {"unknown": unknown[0]}
            )
        elif other := [lot for lot in lots if status[lot] != "sample"]:
            yield Problem("lots", "not_sample", _("is no sample: %(other)s") % {"other": other[0]})
        if self.values.get("reference"):
            reference = UUID(str(self.values["reference"]))
            if reference in lots:
                yield Problem("reference", "itself", _("the reference is known, so it is no candidate"))
            elif not live.filter(id=reference).exists():
                yield Problem("reference", "unknown_parent", _("the team has no such lot"))
        if set(self.ids("expected_order")) - set(lots):
            yield Problem("expected_order", "unknown_parent", _("names a lot that is no candidate"))

    def _people(self, member: Member, flight: Flight | None) -> Iterable[Problem]:
        tasters, pourers = self.ids("tasters"), self.ids("pourers")
        here = Member.objects.filter(team_id=member.team_id, left_at=None)
        writes = {found.user_id: found.may_write for found in here.filter(user_id__in=[*tasters, *pourers])}
        for name, people in (("tasters", tasters), ("pourers", pourers)):
            if unknown := [one for one in people if one not in writes]:
                yield Problem(
                    name, "unknown_parent", _("is no member of this team: %(unknown)s") % {"unknown": unknown[0]}
                )
        if mute := [one for one in tasters if not writes.get(one, True)]:
            yield Problem(
                "tasters", "not_allowed", _("only reads, so cannot note what is tasted: %(mute)s") % {"mute": mute[0]}
            )
        if set(tasters) & set(pourers):
            yield Problem("pourers", "not_allowed", _("who pours knows the codes and cannot taste"))
        if flight is not None:
            poured = FlightMember.objects.filter(flight=flight, pours=True, user_id__in=tasters)
            if poured.exists():
                yield Problem("tasters", "not_allowed", _("someone who has poured knows the codes and cannot taste"))
            tasted = Session.objects.filter(flight_cup__flight=flight, taster_id__in=pourers)
            if tasted.exists():
                yield Problem("pourers", "not_allowed", _("someone who has tasted must not learn the codes"))

    def _sizes(self) -> Iterable[Problem]:
        cups = len(self.ids("tasters")) * self.number("cups_per_sitting") * self.number("sittings")
        if cups > MOST_CUPS:
            yield Problem(
                "cups_per_sitting",
                "range",
                _("makes %(cups)s cups; three-digit codes last for %(most_cups)s")
                % {"cups": cups, "most_cups": MOST_CUPS},
            )
        if self.values.get("infusions") is not None and self.values["protocol"] != "small_pot":
            yield Problem("infusions", "not_allowed", _("is for a small pot; the bowls have theirs"))
        least = 1 + bool(self.values.get("reference"))
        if 0 < self.number("cups_per_sitting") < least:
            yield Problem("cups_per_sitting", "range", _("leaves no cup beside the reference"))

    def _weights(self) -> Iterable[Problem]:
        given = {name: self.values.get(f"weight_{name}_pct") for name in FACTORS}
        own = [cast("float", value) for value in given.values() if value is not None]
        if self.values.get("weights_for"):
            if own:
                yield Problem("weights_for", "one_of", _("a preset or weights of your own, not both"))
        elif own and (len(own) < len(FACTORS) or abs(sum(own) - 100) > 1e-6):
            missing = next((name for name, value in given.items() if value is None), FACTORS[0])
            yield Problem(f"weight_{missing}_pct", "range", _("all five, and they add up to 100"))

    def columns(self) -> dict[str, Any]:
        """Return what the flight's own row holds of it."""
        preset = self.values.get("weights_for")
        own = {name: self.values.get(f"weight_{name}_pct") for name in FACTORS}
        chosen = COVERED_BOWL_WEIGHTS[str(preset)] if preset else own
        weights = dict(chosen) if None not in chosen.values() else {}
        reference = self.values.get("reference")
        return {
            **{name: self.values[name] for name in _PLAIN if name != "remarks"},
            "remarks": self.values.get("remarks") or "",
            "reference_id": UUID(str(reference)) if reference else None,
            "expected_order": [str(lot) for lot in self.ids("expected_order")],
            "weights": weights,
            "weights_for": preset or "",
        }

    def store(self, flight: Flight, *, now: datetime) -> None:
        """Write candidates and people; those no longer among them are marked as out."""
        _settle(FlightLot, flight, "lot_id", {lot: {} for lot in self.ids("lots")}, now=now)
        people: dict[UUID, Mapping[str, object]] = {one: {"pours": False} for one in self.ids("tasters")}
        people |= {one: {"pours": True} for one in self.ids("pourers")}
        _settle(FlightMember, flight, "user_id", people, now=now)


def _settle(
    model: type[FlightLot] | type[FlightMember],
    flight: Flight,
    key: str,
    wanted: Mapping[UUID, Mapping[str, object]],
    *,
    now: datetime,
) -> None:
    rows = model._default_manager.filter(flight=flight)
    rows.filter(out_at=None).exclude(**{f"{key}__in": list(wanted)}).update(out_at=now)
    made = [model(flight=flight, team_id=flight.team_id, **{key: one}, **more) for one, more in wanted.items()]
    model._default_manager.bulk_create(
        made,  # type: ignore[arg-type]
        update_conflicts=True,
        unique_fields=["flight", key.removesuffix("_id")],
        update_fields=["out_at", *next(iter(wanted.values()), {})],
    )


def _held(flight: Flight) -> dict[str, object]:
    people = FlightMember.objects.filter(flight=flight, out_at=None)
    own = flight.weights if flight.weights and not flight.weights_for else {}
    return {
        **{name: getattr(flight, name) for name in _PLAIN},
        "lots": _texts(FlightLot.objects.filter(flight=flight, out_at=None).values_list("lot_id", flat=True)),
        "tasters": _texts(people.filter(pours=False).values_list("user_id", flat=True)),
        "pourers": _texts(people.filter(pours=True).values_list("user_id", flat=True)),
        "reference": str(flight.reference_id) if flight.reference_id else None,
        "expected_order": flight.expected_order,
        "weights_for": flight.weights_for or None,
        **{f"weight_{name}_pct": own.get(name) for name in FACTORS},
    }


def _texts(ids: Iterable[UUID]) -> Sequence[str]:
    return [str(one) for one in ids]
