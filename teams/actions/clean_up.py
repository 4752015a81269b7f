"""Deletes expired rows once a day."""

from datetime import datetime, timedelta

from teams.actions.attempt_counts import delete_expired_counts
from teams.actions.audit import AUDIT_RETENTION_DAYS, delete_old_entries
from teams.actions.emails import delete_old_verifications
from teams.actions.login_throttle import KNOWN_CLIENT_RETENTION, delete_old_clients
from teams.actions.resets import delete_old_resets
from teams.actions.sign_in_codes import delete_expired_codes
from teams.actions.stored_answers import delete_old_answers
from teams.models import DeviceToken, Invitation
from teams.row_security import acting_for, delete_expired_sessions, every_team, skip_team_elsewhere


def delete_expired(*, now: datetime) -> None:
    """Delete old audit entries, and counts, known addresses, links, codes, tokens and browser sessions that have ended.

    An expired token is kept as long as an address counts as known: it still shows whose device it was.
    """
    delete_old_entries(now=now)
    delete_expired_counts(now=now)
    delete_old_clients(now=now)
    delete_old_resets(now=now)
    delete_old_verifications(now=now)
    for team in every_team():
        with skip_team_elsewhere(), acting_for(team):
            delete_expired_codes(now=now)
            DeviceToken.objects.filter(member__team_id=team, expires_at__lt=now - KNOWN_CLIENT_RETENTION).delete()
            delete_old_answers(team, now=now)
            Invitation.objects.filter(team_id=team, expires_at__lt=now - timedelta(days=AUDIT_RETENTION_DAYS)).delete()
    delete_expired_sessions(before=now)
