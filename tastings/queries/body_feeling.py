"""What tasters reported to feel in the body, of one lot."""

from collections import defaultdict
from uuid import UUID

from tastings.maths.panel.presence import NotedWords, noted_words
from tastings.models import Note
from tastings.queries.developments import families_of
from tastings.queries.records import record_for, shared_sessions
from teams.models import Member

MOMENT, FAMILY = "body", "body feeling"


def body_feeling_for(member: Member, lot: UUID) -> NotedWords:
    """Return it from the lot's shared sessions; raise NotFound for no such lot.

    A session without a note of the body does not count: its taster may not have paid attention.
    """
    record_for(member, "lot", lot)
    rows = Note.objects.filter(
        shared_sessions("session__"),
        moment=MOMENT,
        removed=False,
        session__removed=False,
        session__lot_id=lot,
        session__team_id=member.team_id,
    )
    sessions: dict[str, dict[UUID, set[str]]] = defaultdict(lambda: defaultdict(set))
    for taster, session, key in rows.values_list("session__taster_id", "session_id", "descriptor__key"):
        sessions[str(taster)][session].update([key] if key else [])
    vocabulary = [key for key, family in families_of(member).items() if family == FAMILY] if sessions else []
    return noted_words({taster: list(own.values()) for taster, own in sessions.items()}, vocabulary=vocabulary)
