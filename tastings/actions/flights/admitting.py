"""Admitting a score that arrived after the reveal: by a buyer or owner, with an entry in the audit log."""

from dataclasses import replace
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from lots.schema import format_utc_short
from tastings.actions.flights.jobs import enqueue_answer
from tastings.audit_events import TastingEvent
from tastings.errors import WrongState
from tastings.figures import to_stored
from tastings.models import Flight
from tastings.queries.flight_scores import counted_scores
from tastings.queries.flights import flight_row, must_decide
from tastings.queries.late_scores import late_sessions
from teams.actions.audit import record_event
from teams.actions.revisions import next_revision
from teams.errors import NotFound, PreconditionFailed
from teams.models import Member


@transaction.atomic
def admit_late_score(member: Member, *, flight: UUID, session: UUID, revision: int, now: datetime) -> None:
    """Let a late score count, as it was shown at ``revision``; the answer is computed again.

    Raise NotFound for an unknown flight or late score, PreconditionFailed if the score has changed since it was shown,
    WrongState if the flight is not revealed or the score is not what the session's taster wrote.
    """
    must_decide(member)
    next_revision(member.team_id)
    row = flight_row(member, flight, lock=True)
    if row.revealed_at is None:
        raise WrongState(_("there is an answer once the flight is revealed"))
    late = next((score for score in late_sessions(row) if score.shown.session == session), None)
    if late is None:
        raise NotFound
    if late.shown.revision != revision:
        raise PreconditionFailed
    if not late.shown.admissible:
        raise WrongState(_("only what the session's taster wrote can count"))
    admitted = replace(late.session, admitted_by=str(member.user_id), admitted_at=format_utc_short(now))
    counted = counted_scores(row)
    others = tuple(session for session in counted.sessions if session.session != admitted.session)
    Flight.objects.filter(id=flight).update(
        counted=to_stored(replace(counted, sessions=(*others, admitted)), decimals=None)
    )
    about = {
        "flight": str(flight),
        "session": str(session),
        "taster": str(late.shown.taster),
        "liking": late.shown.liking,
        "counted_liking": late.shown.counted_liking,
        "weighted": late.shown.weighted,
        "counted_weighted": late.shown.counted_weighted,
    }
    record_event(team=member.team_id, login=member.user_id, event=TastingEvent.LATE_SCORE, about=about, now=now)
    enqueue_answer(row, now=now)
