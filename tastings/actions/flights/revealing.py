"""The reveal: once, by a buyer or owner, after which every blind session gets its lot and reaches everybody."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import ngettext

from lots.merge import pack
from tastings.actions.due import mark_due
from tastings.actions.flights.jobs import enqueue_answer
from tastings.actions.push import check_constraints_now, renew_child_revisions, set_lot
from tastings.audit_events import TastingEvent
from tastings.errors import WrongState
from tastings.figures import to_stored
from tastings.models import Flight, Session
from tastings.queries.flight_scores import present_scores
from tastings.queries.flights import flight_row, must_decide, standing_cups
from tastings.wording.flights import flight_is
from teams.actions.audit import record_event
from teams.actions.revisions import lock_team, next_revision
from teams.errors import Invalid, Problem
from teams.models import Member, Team
from teams.row_security import renew_photos


@transaction.atomic
def reveal_flight(member: Member, *, flight: UUID, reason: str, now: datetime) -> None:
    """Reveal a flight; before every cup was tasted only with a ``reason``, which is stored.

    Raise WrongState if it has no plan yet, is revealed or called off, Invalid if cups and the reason are missing.
    """
    must_decide(member)
    lock_team(member.team_id)
    row = flight_row(member, flight, lock=True)
    if row.state != Flight.State.TASTING:
        raise WrongState(flight_is(row.state))
    missing = sum(not cup.is_tasted for cup in standing_cups(row))  # type: ignore[attr-defined]
    if missing and not reason:
        detail = ngettext(
            "%(n)s cup is not tasted yet: say why it is revealed now",
            "%(n)s cups are not tasted yet: say why it is revealed now",
            missing,
        ) % {"n": missing}
        raise Invalid(problems=[Problem("reason", "required", detail)])
    Flight.objects.filter(id=flight).update(
        state=Flight.State.REVEALED,
        revealed_at=now,
        revealed_by_id=member.user_id,
        reveal_reason=reason if missing else "",
    )
    about = {"flight": str(flight), "cups_missing": missing}
    record_event(team=member.team_id, login=member.user_id, event=TastingEvent.REVEAL, about=about, now=now)
    sessions = list(
        Session.objects.filter(flight_cup__flight=row, lot=None).select_related("flight_cup").order_by("revision")
    )
    revision = _name_all(sessions, revision=next_revision(member.team_id), now=now)
    Team.objects.filter(id=member.team_id).update(revision=revision)
    renew_photos(member.team_id, [session.id for session in sessions])
    freeze_scores(row, revision=revision)
    shared = {session.lot_id for session in sessions if not session.private and session.lot_id is not None}
    mark_due(member.team_id, shared, revision=revision, now=now)
    enqueue_answer(row, now=now)
    check_constraints_now()


def freeze_scores(flight: Flight, *, revision: int) -> None:
    """Store the scores as the server has them: no later commit changes what counts."""
    counted = to_stored(present_scores(flight, revision=revision), decimals=None)
    Flight.objects.filter(id=flight.id).update(counted=counted)


def _name_all(sessions: Sequence[Session], *, revision: int, now: datetime) -> int:
    """Write the lots into the sessions; new revisions, of infusions and notes too, make every phone pull them."""
    for session in sessions:
        cup = session.flight_cup
        if cup is None:  # not with this query
            continue
        copy = session.stamped()
        set_lot(copy, cup.lot_id)
        revision += 1
        session.lot_id, session.stamps, session.revision = cup.lot_id, pack(copy.stamps), revision
        session.shared_once, session.updated_at = not session.private, now
    Session.objects.bulk_update(sessions, ["lot", "stamps", "revision", "shared_once", "updated_at"], batch_size=200)
    return renew_child_revisions([session.id for session in sessions], revision=revision)
