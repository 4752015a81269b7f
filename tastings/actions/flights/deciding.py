"""What was chosen: samples become bought lots with their parentage, and the reason is stored for next year."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from uuid import UUID

import msgspec
from django.db import transaction
from django.utils.translation import gettext as _

from lots.bodies import check_body
from lots.schema import InvalidValue, clean_text
from lots.wording import field_problem
from tastings.actions.purchases import fields_of_bought_lot
from tastings.actions.push import NEW, Change, push_changes
from tastings.answers.flights import ChosenLot, FlightDecision
from tastings.audit_events import TastingEvent
from tastings.errors import WrongState
from tastings.figures import to_stored
from tastings.models import Flight
from tastings.queries.flights import flight_row, must_decide
from tastings.queries.records import record_for
from tastings.schemas import CHOSEN
from tastings.wording.flights import flight_is
from teams.actions.audit import record_event
from teams.actions.revisions import lock_team
from teams.errors import Invalid, Problem
from teams.models import Member

MOST_CHOSEN = 20
_KNOWN = frozenset(("reason", "chosen"))


@transaction.atomic
def decide_flight(member: Member, *, flight: UUID, payload: Mapping[str, object], device: UUID, now: datetime) -> None:
    """Store which lots were chosen and why, and create the bought lots. None chosen is a decision, too.

    Raise WrongState if it is not revealed or is decided already, Invalid for a field or a lot that is no candidate.
    """
    must_decide(member)
    lock_team(member.team_id)
    stored = flight_row(member, flight, lock=True)
    if stored.state != Flight.State.REVEALED:
        raise WrongState(flight_is(stored.state))
    reason, chosen = _validate(stored, payload)
    for i, lot in enumerate(chosen):
        change = Change(type="lot", id=lot.bought, fields=_bought_fields(member, lot), stamp=None, expected=NEW)
        [verdict] = push_changes(member, device=device, changes=[change], now=now)
        if verdict.verdict == "refused":
            raise Invalid(
                problems=[
                    Problem(f"chosen.{i}.{'bought' if p.field == 'id' else p.field}", p.code, p.detail)
                    for p in verdict.problems
                ]
            )
    about = {"flight": str(flight), "bought": [str(lot.bought) for lot in chosen]}
    record_event(team=member.team_id, login=member.user_id, event=TastingEvent.DECISION, about=about, now=now)
    decision = FlightDecision(reason=reason, chosen=chosen, at=now, by=member.user_id)
    Flight.objects.filter(id=flight).update(
        state=Flight.State.DECIDED,
        decided_at=now,
        decided_by_id=member.user_id,
        decision=to_stored(decision, decimals=None),
    )


def _bought_fields(member: Member, chosen: ChosenLot) -> dict[str, object]:
    """Return the fields of the bought lot: those of its sample, with the amount and price that were agreed."""
    sample = record_for(member, "lot", chosen.lot).fields
    fields = fields_of_bought_lot(chosen.lot, sample)
    agreed = {
        "quantity_g": chosen.quantity_g or None,
        "price_per_kg": sample["price_per_kg"] if chosen.price_per_kg in (None, msgspec.UNSET) else chosen.price_per_kg,
        "currency": chosen.currency or sample["currency"],
    }
    return fields | {name: value for name, value in agreed.items() if value is not None}


def _validate(flight: Flight, payload: Mapping[str, object]) -> tuple[str, list[ChosenLot]]:
    problems = [Problem(name[:80], "unknown_field", _("is not part of a decision")) for name in payload.keys() - _KNOWN]
    reason, problem = _clean_reason(payload.get("reason"))
    if problem is not None:
        problems.append(problem)
    chosen, items = list[dict[str, object]](), payload.get("chosen")
    if not isinstance(items, list) or len(items) > MOST_CHOSEN:
        detail = _("must be a list of at most %(most)s") % {"most": MOST_CHOSEN}
        problems.append(Problem("chosen", "required" if items is None else "type", detail))
        items = []
    candidates = {str(lot) for lot in flight.candidates.values_list("lot_id", flat=True)}
    for i, item in enumerate(items):
        values, wrong = _check_item(item)
        problems += [replace(problem, field=f"chosen.{i}.{problem.field}") for problem in wrong]
        if values.get("lot") is not None and values["lot"] not in candidates:
            problems.append(Problem(f"chosen.{i}.lot", "unknown_parent", _("is no candidate of this flight")))
        chosen.append(values)
    bought = [values.get("bought") for values in chosen]
    if len(set(bought)) != len(bought) or len({values.get("lot") for values in chosen}) != len(chosen):
        problems.append(Problem("chosen", "taken", _("names a lot twice")))
    if problems:
        raise Invalid(problems=problems)
    return reason, msgspec.convert(chosen, list[ChosenLot])


def _clean_reason(sent: object) -> tuple[str, Problem | None]:
    try:
        reason = "" if sent is None else clean_text(sent, longest=8000).strip()
    except InvalidValue as error:
        return "", field_problem("reason", error.fault)
    return reason, None if reason else Problem("reason", "required", _("say why, for next year"))


def _check_item(item: object) -> tuple[dict[str, object], Sequence[Problem]]:
    if not isinstance(item, dict):
        return {}, [Problem("", "type", _("must be an object"))]
    return check_body(CHOSEN, item)
