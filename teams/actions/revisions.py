"""The team's counter of changes, by which phones learn that there is something to fetch."""

from uuid import UUID

from django.db.models import F

from teams.models import Team


def next_revision(team: UUID) -> int:
    """Lock the team's row until the transaction ends and count one change; return the new revision.

    Writers of one team take turns by this lock, so revisions are in the order of commits.
    """
    Team.objects.select_for_update(no_key=True).get(id=team)
    Team.objects.filter(id=team).update(revision=F("revision") + 1)
    return Team.objects.values_list("revision", flat=True).get(id=team)
