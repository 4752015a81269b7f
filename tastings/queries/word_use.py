"""How often a team notes each word."""

from collections.abc import Mapping
from datetime import datetime

from django.db.models import Count

from tastings.models import Note
from tastings.queries.records import visible_sessions
from teams.models import Member


def word_use(member: Member, *, since: datetime) -> Mapping[str, int]:
    """Return how many notes that the member may see name each word, by its key, in sessions begun ``since`` then."""
    notes = Note.objects.filter(
        visible_sessions(member, "session__"),
        team_id=member.team_id,
        removed=False,
        session__removed=False,
        session__started_at__gte=since,
        descriptor__isnull=False,
    )
    return dict(notes.values_list("descriptor__key").annotate(Count("id")).order_by())
