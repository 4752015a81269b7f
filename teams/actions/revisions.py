"""The team's revision counter; phones compare it with their cursor."""

from uuid import UUID

from django.db.models import F

from teams.models import Team


def next_revision(team: UUID) -> int:
    """Lock the team's row until the transaction ends and return the next revision.

    Writers of one team take turns by this lock, so revisions are in the order of commits.
    """
    Team.objects.select_for_update(no_key=True).get(id=team)
    Team.objects.filter(id=team).update(revision=F("revision") + 1)
    return Team.objects.values_list("revision", flat=True).get(id=team)
