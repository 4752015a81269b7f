"""What was chosen: samples become bought lots with their parentage, and the reason is kept for next year."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from lots.models.wire import TO_WIRE
from lots.schema import Fault, InvalidValue, RecordSchema, clean_fields, clean_text, gettext_noop, record_faults
from lots.wording import field_problem
from tastings.actions.push import NEW, Change, push_changes
from tastings.audit_events import TastingEvent
from tastings.errors import WrongState
from tastings.models import Flight
from tastings.queries.flights import flight_row, must_decide
from tastings.queries.records import record_for
from tastings.schemas import CHOSEN
from tastings.wording.flights import flight_is
from teams.actions.audit import record_event
from teams.actions.revisions import next_revision
from teams.errors import Invalid, Problem
from teams.models import Member

MOST_CHOSEN = 20
_SAMPLES_OWN = ("status", "quantity_g", "price_per_kg", "currency", "arrived_on", "from_lot", "remarks")
"""What the bought lot does not take over from its sample."""


@transaction.atomic
def decide_flight(member: Member, *, flight: UUID, sent: Mapping[str, object], device: UUID, now: datetime) -> None:
    """Keep which lots were chosen and why, and make the bought lots. None chosen is a decision, too.

    Raises
    ------
    WrongState
        It is not revealed yet, or decided already.
    Invalid
        A field does not hold, or a lot is no candidate.
    """
    must_decide(member)
    next_revision(member.team_id)
    found = flight_row(member, flight, lock=True)
    if found.state != Flight.State.REVEALED:
        raise WrongState(flight_is(found.state))
    reason, chosen = _checked(found, sent)
    for i, one in enumerate(chosen):
        sample = record_for(member, "lot", UUID(str(one["lot"]))).fields
        fields = {name: value for name, value in sample.items() if value is not None and name not in _SAMPLES_OWN}
        fields |= {"status": "bought", "from_lot": one["lot"]}
        for name in ("quantity_g", "price_per_kg", "currency"):
            value = one.get(name) if one.get(name) is not None else None if name == "quantity_g" else sample[name]
            if value is not None:
                fields[name] = value
        change = Change(type="lot", id=UUID(str(one["bought"])), fields=fields, stamp=None, expected=NEW)
        [verdict] = push_changes(member, device=device, changes=[change], now=now)
        if verdict.verdict == "refused":
            raise Invalid(
                problems=[
                    Problem(f"chosen.{i}.{'bought' if p.field == 'id' else p.field}", p.code, p.detail)
                    for p in verdict.problems
                ]
            )
    about = {"flight": str(flight), "bought": [str(one["bought"]) for one in chosen]}
    record_event(team=member.team_id, who=member.user_id, event=TastingEvent.DECISION, about=about, now=now)
    Flight.objects.filter(id=flight).update(
        state=Flight.State.DECIDED,
        decided_at=now,
        decided_by_id=member.user_id,
        decision={
            "reason": reason,
            "chosen": chosen,
            "at": TO_WIRE["moment"](now),
            "by": str(member.user_id),
        },
    )


def _checked(flight: Flight, sent: Mapping[str, object]) -> tuple[str, list[dict[str, object]]]:
    problems = [Problem(name[:80], "unknown_field", _("is not part of a decision")) for name in sent.keys() - _KNOWN]
    reason, chosen, listed = "", list[dict[str, object]](), sent.get("chosen")
    try:
        reason = clean_text(sent.get("reason"), longest=8000).strip()
        if not reason:
            problems.append(Problem("reason", "required", _("say why, for next year")))
    except InvalidValue as error:
        problems.append(field_problem("reason", error.fault))
    if not isinstance(listed, list) or len(listed) > MOST_CHOSEN:
        problems.append(Problem("chosen", "type", _("must be a list of at most %(most)s") % {"most": MOST_CHOSEN}))
        listed = []
    candidates = {str(lot) for lot in flight.candidates.values_list("lot_id", flat=True)}
    for i, one in enumerate(listed):
        values, faults = _fields(CHOSEN, one)
        problems += [field_problem(f"chosen.{i}.{name}", fault) for name, fault in faults]
        if values.get("lot") is not None and values["lot"] not in candidates:
            problems.append(Problem(f"chosen.{i}.lot", "unknown_parent", _("is no candidate of this flight")))
        chosen.append(values)
    ids = [one.get("bought") for one in chosen]
    if len(set(ids)) != len(ids) or len({one.get("lot") for one in chosen}) != len(chosen):
        problems.append(Problem("chosen", "taken", _("names a lot twice")))
    if problems:
        raise Invalid(problems=problems)
    return reason, chosen


_KNOWN = frozenset(("reason", "chosen"))


def _fields(schema: RecordSchema, sent: object) -> tuple[dict[str, object], Sequence[tuple[str, Fault]]]:
    if not isinstance(sent, dict):
        return {}, [("", Fault("type", gettext_noop("must be an object")))]
    values, faults = clean_fields(schema, sent)
    faults += [fault for fault in record_faults(schema, values) if fault[0] not in dict(faults)]
    return values, faults
