"""Which rendered documents are finished."""

from collections.abc import Collection
from uuid import UUID

from django.db.models import Q

from tastings.models import RenderedDocument
from teams.row_security import acting_for_those_here


def finished_documents(documents: Collection[UUID], *, teams: Collection[UUID]) -> set[UUID]:
    """Return which of these documents of these teams are made or have failed."""
    with acting_for_those_here(teams):
        finished = RenderedDocument.objects.filter(~Q(failure="") | Q(made_at__isnull=False))
        return set(finished.filter(team_id__in=teams, id__in=documents).values_list("id", flat=True))
