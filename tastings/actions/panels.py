"""Computes from a team's tastings how its tasters use the scale and where its finish line lies."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from statistics import fmean
from uuid import UUID

from django.db import transaction
from django.db.models import F, QuerySet

from tastings.figures import to_stored
from tastings.maths.brewing.brews import TasterScale
from tastings.maths.curve.development import METHOD
from tastings.maths.curve.order_slope import USUAL_SLOPES, OrderSlope
from tastings.maths.panel.calibration import calibrate
from tastings.maths.panel.panel import LEVEL_INFUSIONS, Panel, Rated, panel
from tastings.models import Development, TeamPanel
from tastings.queries.brews import load_latest_brews
from tastings.queries.panels import evidence_of
from teams.postgresql.locks import try_lock

MOST_SESSIONS = 400
"""How many of a team's latest sessions are learned from."""
GAIN_MOVED, OFFSET_MOVED, LINE_MOVED = 0.03, 0.1, 0.1
"""Least changes after which the lots' figures are computed again. [1], [points], [points]"""
SD_MOVED = 1.25
"""The same for the ratio of a scale's uncertainty to that before, or its inverse. [1]"""
SLOPE_PROBABILITY_MOVED, SLOPE_MOVED = 0.15, 0.03
"""The same for the slope of the cups' order. [1], [points a cup]"""


def mark_panel_due(team: UUID, *, revision: int) -> None:
    """Note that the team's lots have new figures to learn from; the timetable asks for the job."""
    TeamPanel.objects.bulk_create(
        [TeamPanel(team_id=team, due_revision=revision)],
        update_conflicts=True,
        unique_fields=["team"],
        update_fields=["due_revision"],
    )


@transaction.atomic
def refresh_panel(team: UUID, *, now: datetime) -> bool:
    """Learn from the team's latest sessions and store it; return whether this call did so. Safe to run twice."""
    if not try_lock(f"panel {team}"):
        return False
    current = TeamPanel.objects.filter(team_id=team).first()
    if current is None or (current.due_revision <= current.computed_revision and current.method == METHOD):
        TeamPanel.objects.filter(team_id=team, due_revision__lte=F("computed_revision")).update(asked_at=None)
        return False
    tastings = load_latest_brews(team, sessions=MOST_SESSIONS)
    lots = {lot: tasting.brews for lot, tasting in tastings.items()}
    rated = next((tasting.rated for tasting in tastings.values()), ())
    developments = Development.objects.filter(lot_id__in=list(lots), computed_revision__gt=0)
    evidence = evidence_of(team)
    line, slopes = evidence.line(), evidence.slopes()
    stored_slopes = to_stored(slopes, decimals=None)
    scales = {key: calibrate(lots, descriptor=key) for key in rated}
    stored = {key: {name: asdict(scale) for name, scale in own.items()} for key, own in scales.items()}
    moved = (
        abs(line.mean - current.line_mean) > LINE_MOVED
        or _moved(current.scales, stored)
        or _slopes_moved(current.slopes, slopes)
    )
    TeamPanel.objects.filter(team_id=team).update(
        computed_revision=current.due_revision,
        asked_at=None,
        started_at=now,
        computed_at=now,
        method=METHOD,
        figures={key: _as_json(_panel(developments, key=key)) for key in rated},
        **(
            {
                "version": current.version + 1,
                "line_mean": line.mean,
                "line_sd": line.sd,
                "slopes": stored_slopes,
                "scales": stored,
            }
            if moved
            else {}
        ),
    )
    return True


def _moved(
    before: Mapping[str, Mapping[str, Mapping[str, float]]], after: Mapping[str, Mapping[str, Mapping[str, float]]]
) -> bool:
    unknown = asdict(TasterScale())
    for key in before.keys() | after.keys():
        old, new = before.get(key, {}), after.get(key, {})
        if old.keys() != new.keys():
            return True  # curves depend on how many tasters the team has
        for name in old.keys() | new.keys():
            a, b = old.get(name, unknown), new.get(name, unknown)
            if abs(a["gain"] - b["gain"]) > GAIN_MOVED or abs(a["offset"] - b["offset"]) > OFFSET_MOVED:
                return True
            if any(not 1 / SD_MOVED <= a[sd] / b[sd] <= SD_MOVED for sd in ("gain_sd", "offset_sd")):
                return True
    return False


def _slopes_moved(before: Mapping[str, Mapping[str, float]], after: Mapping[str, OrderSlope]) -> bool:
    for key, new in after.items():
        old = before.get(key) or asdict(USUAL_SLOPES[key])
        if (
            abs(new.probability - old["probability"]) > SLOPE_PROBABILITY_MOVED
            or abs(new.probability * new.mean - old["probability"] * old["mean"]) > SLOPE_MOVED
        ):
            return True
    return False


def _ratings(developments: QuerySet[Development], *, key: str) -> tuple[Sequence[Rated], Mapping[str, float]]:
    """Return one descriptor's ratings as brought to the even brew, and each lot's level."""
    ratings: list[Rated] = []
    levels: dict[str, float] = {}
    for lot, result, tasted in developments.values_list("lot_id", "result", "tasted"):
        points = next((c["points"] for c in (result or {}).get("curves", ()) if c["descriptor"] == key), None)
        if points is None:
            continue
        means = {point["infusion"]: point["mean"] for point in points}
        levels[str(lot)] = fmean(list(means.values())[:LEVEL_INFUSIONS])
        ratings += [
            Rated(
                lot=str(lot),
                session=rating["session"],
                taster=rating["taster"],
                infusion=rating["infusion"],
                adjusted=rating["adjusted"],
                curve=means[rating["infusion"]],
            )
            for rating in tasted
            if rating["descriptor"] == key and rating["infusion"] in means
        ]
    return ratings, levels


def _panel(developments: QuerySet[Development], *, key: str) -> Panel:
    ratings, levels = _ratings(developments, key=key)
    return panel(ratings, levels=levels)


def _as_json(panel: Panel) -> dict[str, object]:
    return {"tasters": {row.taster: asdict(row) for row in panel.tasters}, "agreement": asdict(panel.agreement)}
