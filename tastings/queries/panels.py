"""Reads of what was learned about a team's tasters."""

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _

from lots.schema import format_utc
from tastings.maths.brewing.brews import TasterScale
from tastings.maths.curve.endings import FinishLine
from tastings.models import TeamPanel
from teams.errors import NotAllowed
from teams.models import Member
from teams.queries.people import member_for


@dataclass(frozen=True, slots=True)
class Calibration:
    """What the curves use: each taster's scale by descriptor, and the team's finish line."""

    version: int
    scales: Mapping[str, Mapping[str, TasterScale]]
    line: FinishLine


def calibration_of(team: UUID) -> Calibration:
    """Return the team's calibration; the general one before anything was learned."""
    held = TeamPanel.objects.filter(team_id=team).first() or TeamPanel()
    scales = {key: {name: TasterScale(**one) for name, one in found.items()} for key, found in held.scales.items()}
    return Calibration(held.version, scales, FinishLine(mean=held.line_mean, sd=held.line_sd))


def taster_calibration(member: Member, taster: UUID) -> Mapping[str, object]:
    """Return how one taster uses the scale and how they do, by descriptor.

    Raises
    ------
    NotHere
        The team has no such member.
    NotAllowed
        Someone else's, and the caller neither buys nor owns.
    """
    member_for(member, taster)
    if taster != member.user_id and not member.sees_all_tasters:
        raise NotAllowed(_("a taster sees their own calibration and the panel's"))
    held = TeamPanel.objects.filter(team_id=member.team_id).first() or TeamPanel(team_id=member.team_id)
    return {**_head(held), "taster": str(taster), "descriptors": _of_taster(held, str(taster))}


def panel_for(member: Member) -> Mapping[str, object]:
    """Return how the team's tasters agree by descriptor, the finish line, and the tasters the caller may see."""
    held = TeamPanel.objects.filter(team_id=member.team_id).first() or TeamPanel(team_id=member.team_id)
    tasters = sorted({name for found in held.figures.values() for name in found["tasters"]})
    if not member.sees_all_tasters:
        tasters = [name for name in tasters if name == str(member.user_id)]
    return {
        **_head(held),
        "finish_line": {"mean": round(held.line_mean, 2), "sd": round(held.line_sd, 2)},
        "agreement": [
            {
                "descriptor": key,
                "tasters": len(found["agreement"]["tasters"]),
                "lots": found["agreement"]["lots"],
                "icc_single": _rounded(found["agreement"]["single"]),
                "icc_mean": _rounded(found["agreement"]["mean"]),
                "kendall_w": _rounded(found["agreement"]["w"]),
            }
            for key, found in sorted(held.figures.items())
        ],
        "tasters": [{"taster": name, "descriptors": _of_taster(held, name)} for name in tasters],
    }


def _head(held: TeamPanel) -> dict[str, object]:
    at = held.computed_at
    return {
        "revision": held.computed_revision,
        "computed_at": format_utc(at) if at else None,
        "stale": held.due_revision > held.computed_revision,
    }


def _of_taster(held: TeamPanel, taster: str) -> list[dict[str, object]]:
    rows = []
    for key, found in sorted(held.figures.items()):
        figures, scale = found["tasters"].get(taster), held.scales.get(key, {}).get(taster)
        if figures is None or scale is None:
            continue
        rows.append(
            {
                "descriptor": key,
                **{name: _rounded(scale[name]) for name in ("gain", "gain_sd", "offset", "offset_sd")},
                "sessions": figures["sessions"],
                "lots": figures["lots"],
                **{name: _rounded(figures[name]) for name in ("repeatability_sd", "agreement", "discrimination_p")},
            }
        )
    return rows


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
