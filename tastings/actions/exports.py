"""Exports, with their audit events."""

from datetime import datetime

from tastings.audit_events import TastingEvent
from tastings.queries.exporting import ZipStream, check_may_export, export_for_owner
from teams.actions.audit import record_event
from teams.models import Member, Team


def audited_export(member: Member, *, now: datetime) -> ZipStream:
    """Note in the audit log that an owner asked for the team; return and raise as `export_for_owner`."""
    check_may_export(member)
    record_event(
        team=member.team_id, login=member.user_id, event=TastingEvent.EXPORT, about={"made_for": "owner"}, now=now
    )
    return export_for_owner(member, now=now)


def record_operator_export(team: Team, *, now: datetime) -> None:
    """Note in the audit log that the operator of the server wrote the whole team out."""
    record_event(team=team.id, login=None, event=TastingEvent.EXPORT, about={"made_for": "operator"}, now=now)
