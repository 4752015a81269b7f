"""Exports, with their audit events."""

from datetime import datetime

from django.utils.translation import gettext as _

from tastings.audit_events import TastingEvent
from tastings.queries.exporting import ZipStream, export_for_owner
from teams.actions.audit import record_event
from teams.errors import NotAllowed
from teams.models import Member, Team


def audited_export(member: Member, *, now: datetime) -> ZipStream:
    """Note in the audit log that an owner asked for the team, and return it as far as an owner may see it.

    Raises
    ------
    NotAllowed
        The member does not own the team.
    AlreadyRunning
        Another export of the team is being made.
    """
    if not member.runs_team:
        raise NotAllowed(_("only an owner may export the team"))
    record_event(
        team=member.team_id, who=member.user_id, event=TastingEvent.EXPORT, about={"made_for": "owner"}, now=now
    )
    return export_for_owner(member, now=now)


def record_operator_export(team: Team, *, now: datetime) -> None:
    """Note in the audit log that the operator of the server wrote the whole team out."""
    record_event(team=team.id, who=None, event=TastingEvent.EXPORT, about={"made_for": "operator"}, now=now)
