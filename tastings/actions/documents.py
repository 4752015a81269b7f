"""Documents set in type: asking for one, making it, letting go of those that nobody reads."""

import logging
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction

from tastings.jobs import Job, later
from tastings.models import Paper
from tastings.models.photo_files import thumbnail_path
from teams.row_security import acting_for, every_team

ASKED_AGAIN_S = 20.0  # so long a job may take before it counts as lost
KEPT_DAYS = 30  # after the last reading
MOST_PAPERS = 500  # of one team
_log = logging.getLogger(__name__)

Setter = Callable[[str, str, Mapping[str, Any], Mapping[str, bytes]], bytes]
"""Sets a layout in a form from data and pictures; raises ValueError when it cannot."""


@transaction.atomic
def ask_paper(  # noqa: PLR0913 - what a document is made from, one by one
    team: UUID, *, digest: str, layout: str, form: str, told: Mapping[str, Any], now: datetime
) -> Paper:
    """Return the document of this digest; ask a worker to make it unless it is there or being made."""
    found, new = Paper.objects.select_for_update().get_or_create(
        team_id=team,
        digest=digest,
        defaults={"layout": layout, "form": form, "told": told, "asked_at": now, "used_on": now.date()},
    )
    lost = found.made_at is None and not found.failure and found.asked_at < now - timedelta(seconds=ASKED_AGAIN_S)
    if lost:
        Paper.objects.filter(id=found.id).update(asked_at=now)
    if new or lost:
        later(Job.TYPESET, str(found.id))
    if new:
        _let_go_of_the_oldest(team)
    elif found.used_on != now.date():
        Paper.objects.filter(id=found.id).update(used_on=now.date())
    return found


def paper_now(paper: UUID) -> Paper | None:
    """Return a document as it is now; None when it was let go of meanwhile."""
    return Paper.objects.filter(id=paper).defer("told").first()


def make_paper(paper: UUID, *, typeset: Setter, now: datetime) -> None:
    """Set a document and keep its bytes. Safe to run twice: the same data give the same bytes.

    One that cannot be set keeps why, and is not tried again until its data or layout change.
    """
    found = Paper.objects.filter(id=paper, made_at=None, failure="", told__isnull=False).first()
    if found is None or found.told is None:
        return
    pictures = {}
    for photo in found.told.get("photos") or ():
        name = str(photo["file"]).removesuffix(".jpg")
        try:
            pictures[photo["file"]] = thumbnail_path(found.team_id, name).read_bytes()
        except FileNotFoundError:
            continue  # let go of since it was asked for
    try:
        made = typeset(found.layout, found.form, found.told, pictures)
    except ValueError as error:
        _log.exception("paper %s: cannot be set", paper)
        Paper.objects.filter(id=paper).update(failure=f"{type(error).__name__}: {error}"[:500] or "failed", told=None)
        return
    Paper.objects.filter(id=paper).update(content=made, made_at=now, told=None)


def tidy_papers(*, now: datetime) -> int:
    """Delete what nobody has read for a month, and what failed a day ago; return how many."""
    gone = 0
    for team in every_team():
        with acting_for(team):
            held = Paper.objects.filter(team_id=team)
            gone += held.filter(used_on__lt=(now - timedelta(days=KEPT_DAYS)).date()).delete()[0]
            gone += held.filter(made_at=None, asked_at__lt=now - timedelta(days=1)).delete()[0]
    return gone


def _let_go_of_the_oldest(team: UUID) -> None:
    kept = Paper.objects.filter(team_id=team).order_by("-used_on", "-asked_at").values("id")[:MOST_PAPERS]
    Paper.objects.filter(team_id=team).exclude(id__in=list(kept.values_list("id", flat=True))).delete()
