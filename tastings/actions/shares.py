"""Links to a lot's report or card: made, kept for someone who left, and ended."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import cast
from uuid import UUID

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from lots.bodies import clean_body
from tastings.audit_events import TastingEvent
from tastings.errors import WrongState
from tastings.models import Share
from tastings.queries.records import record_for
from tastings.queries.shares import is_waiting, may_share, share_for
from tastings.schemas import SHARE
from teams.actions.audit import record_event
from teams.errors import Invalid, NotAllowed, NotFound, Problem
from teams.models import Member

USUAL_DAYS, MOST_DAYS = 30, 366


@transaction.atomic
def give_share(member: Member, *, sent: Mapping[str, object], now: datetime) -> Share:
    """Make a link.

    Raise NotAllowed if the member is neither buyer nor owner, Invalid for a field, an unknown lot, or an end that is
    past or more than 366 days away.
    """
    may_share(member)
    values = clean_body(SHARE, sent)
    problems = []
    ends = now + timedelta(days=USUAL_DAYS)
    if values.get("expires_at"):
        ends = datetime.fromisoformat(str(values["expires_at"]))
    if not now < ends <= now + timedelta(days=MOST_DAYS):
        problems.append(
            Problem("expires_at", "range", _("must be from now to %(most)s days ahead") % {"most": MOST_DAYS})
        )
    try:
        record_for(member, "lot", UUID(str(values["lot"])))
    except NotFound:
        problems.append(Problem("lot", "unknown_parent", _("the team has no such lot")))
    if problems:
        raise Invalid(problems=problems)
    created = Share.objects.create(
        team_id=member.team_id,
        lot_id=UUID(str(values["lot"])),
        shows=cast("str", values["shows"]),
        lang=cast("str", values.get("lang") or "en"),
        names=bool(values.get("names")),
        expires_at=ends,
        by_id=member.user_id,
        created_at=now,
    )
    about = {"share": str(created.id), "lot": str(created.lot_id), "shows": created.shows}
    record_event(team=member.team_id, login=member.user_id, event=TastingEvent.SHARE, about=about, now=now)
    return share_for(member, created.id)


@transaction.atomic
def keep_share(member: Member, *, share: UUID, now: datetime) -> Share:
    """Let a link that waits open again, at the same address and now in the owner's name; return it.

    Raise NotFound for an unknown link, NotAllowed for all but owners, WrongState if the link is open or has ended.
    """
    row = share_for(member, share)
    if not member.runs_team:
        raise NotAllowed(_("an owner decides about the links of someone who may no longer give any"))
    if not is_waiting(row, now=now):
        raise WrongState(_("this link does not wait for an owner"))
    Share.objects.filter(id=share).update(kept_by_id=member.user_id)
    about = {"share": str(share), "lot": str(row.lot_id)}
    record_event(team=member.team_id, login=member.user_id, event=TastingEvent.SHARE_KEPT, about=about, now=now)
    return share_for(member, share)


@transaction.atomic
def revoke_share(member: Member, *, share: UUID, now: datetime) -> None:
    """End a link at once; ending it again changes nothing."""
    row = share_for(member, share)
    if Share.objects.filter(id=row.id, revoked_at=None).update(revoked_at=now):
        about = {"share": str(share), "lot": str(row.lot_id)}
        record_event(team=member.team_id, login=member.user_id, event=TastingEvent.SHARE_ENDED, about=about, now=now)


def count_view(share: UUID) -> None:
    """Count that a link was read; nothing is kept of who read it."""
    Share.objects.filter(id=share).update(views=F("views") + 1)
