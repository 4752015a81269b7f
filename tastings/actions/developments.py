"""Computes a lot's figures from its tastings and stores them."""

import logging
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from tastings.actions.due import MIN_INTERVAL_S, enqueue_next
from tastings.actions.panels import mark_panel_due
from tastings.figures import to_stored
from tastings.jobs import Job, later
from tastings.maths.curve.development import METHOD
from tastings.models import Development
from tastings.queries.brews import load_brews
from tastings.queries.panels import calibration_of, estimate_lot
from teams.postgresql.locks import try_lock

_log = logging.getLogger(__name__)


@transaction.atomic
def refresh_development(lot: UUID, *, now: datetime) -> bool:
    """Compute and store one lot's figures; return whether this call did so.

    Safe to run twice and at the same time: the second of two finds the lot taken and leaves it, since the first looks
    once more, when it is done, whether the lot has become due again.
    """
    if not try_lock(f"development {lot}"):
        return False
    row = Development.objects.filter(lot_id=lot).first()
    known = calibration_of(row.team_id, but_lot=lot) if row else None
    if row is None or known is None or not row.due_for(method=METHOD, panel_version=known.version):
        Development.objects.filter(lot_id=lot, due_revision__lte=F("computed_revision")).update(asked_at=None)
        return False
    up_to = row.due_revision  # read before the records: what is written meanwhile makes the lot due again
    changes: dict[str, object] = {
        "panel_version": known.version,
        "computed_revision": up_to,
        "started_at": now,
        "method": METHOD,
        "asked_at": None,
    }
    try:
        figures = estimate_lot(load_brews(lot), known=known)
        stored = to_stored(replace(figures, line_evidence=(), slope_evidence={}))
        del stored["line_evidence"], stored["slope_evidence"]  # columns of their own, not rounded
        changes |= {
            "tasted": stored.pop("tasted"),
            "line_evidence": list(figures.line_evidence),
            "slope_evidence": to_stored(figures.slope_evidence, decimals=None),
            "result": stored,
            "computed_at": now,
            "failure": "",
        }
    except (ValueError, ArithmeticError) as error:
        # Kept for people to read; the lot is not tried again until something about it changes.
        _log.exception("lot %s: no figures", lot)
        changes["failure"] = f"{type(error).__name__}: {error}"[:500]
    Development.objects.filter(lot_id=lot).update(**changes)
    latest = Development.objects.select_for_update().get(lot_id=lot)
    if not latest.up_to_date:
        Development.objects.filter(lot_id=lot).update(asked_at=now)
        later(Job.REFRESH_DEVELOPMENT, str(lot), wait_s=MIN_INTERVAL_S, team=row.team_id)
    enqueue_next(row.team_id, now=timezone.now())
    mark_panel_due(row.team_id, revision=up_to)  # last: the team's other jobs wait for its row until this one ends
    return True
