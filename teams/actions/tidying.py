"""Forgetting, once a day, what has served its time."""

from datetime import datetime, timedelta

from django.contrib.sessions.backends.db import SessionStore

from teams.actions.audit import KEPT_DAYS, forget_old_entries
from teams.actions.guard import KNOWN_FOR, forget_old_places
from teams.actions.resets import forget_resets
from teams.actions.tallies import forget_ended
from teams.models import DeviceToken, Invitation
from teams.row_security import acting_for, every_team


def tidy_people(*, now: datetime) -> None:
    """Delete old audit entries, counts, known places, links, and tokens and browser sessions that ended.

    A token that ended by itself stays as long as an address counts as known: it still tells whose device it was.
    """
    forget_old_entries(now=now)
    forget_ended(now=now)
    forget_old_places(now=now)
    forget_resets(now=now)
    for team in every_team():
        with acting_for(team):
            DeviceToken.objects.filter(member__team_id=team, expires_at__lt=now - KNOWN_FOR).delete()
            Invitation.objects.filter(team_id=team, expires_at__lt=now - timedelta(days=KEPT_DAYS)).delete()
    SessionStore.clear_expired()
