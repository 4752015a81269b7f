"""Reads of what was learned about a team's tasters."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from tastings.figures import from_stored
from tastings.maths.brewing.brews import TasterScale
from tastings.maths.curve.development import Development as Figures
from tastings.maths.curve.endings import FinishLine, estimate_finish_line
from tastings.maths.curve.estimate import estimate_development
from tastings.maths.curve.order_slope import USUAL_SLOPES, OrderSlope, SlopeEvidence, team_slopes
from tastings.maths.panel.panel import PanelAgreement, TasterFigures
from tastings.models import Development, TeamPanel
from tastings.queries.brews import LotBrews
from teams.errors import NotAllowed
from teams.models import Member
from teams.queries.people import member_for

Scales = Mapping[str, Mapping[str, TasterScale]]
"""Scales by descriptor and taster."""


@dataclass(frozen=True, slots=True)
class LotEvidence:
    """What a team's lots say about its finish line and its fatigue."""

    n_lots: int
    of_line: Sequence[Sequence[float]]
    of_slopes: Sequence[Mapping[str, SlopeEvidence]]

    def line(self) -> FinishLine:
        """Return the team's finish line."""
        return estimate_finish_line(self.of_line)

    def slopes(self) -> dict[str, OrderSlope]:
        """Return what is believed of its slopes, by descriptor."""
        return team_slopes(self.of_slopes)


@dataclass(frozen=True, slots=True)
class Calibration:
    """What the curves use: each taster's scale by descriptor, the team's finish line and fatigue."""

    version: int
    scales: Scales
    line: FinishLine
    slopes: Mapping[str, OrderSlope]


@dataclass(frozen=True, slots=True)
class DescriptorPanel:
    """What is stored of one descriptor: each taster's figures by id, and how far they agree."""

    tasters: dict[str, TasterFigures]
    agreement: PanelAgreement


@dataclass(frozen=True, slots=True)
class TasterRow:
    """One taster's scale and figures for one descriptor."""

    descriptor: str
    scale: TasterScale
    figures: TasterFigures


@dataclass(frozen=True, slots=True)
class PanelFigures:
    """What was learned about a team's tasters, and whether that is behind."""

    revision: int
    computed_at: datetime | None
    stale: bool
    line: FinishLine
    scales: Scales
    descriptors: Mapping[str, DescriptorPanel]

    def rows_of(self, taster: str) -> tuple[TasterRow, ...]:
        """Return one taster's rows by descriptor."""
        return tuple(
            TasterRow(key, scale, figures)
            for key, panel in sorted(self.descriptors.items())
            if (figures := panel.tasters.get(taster)) is not None
            and (scale := self.scales.get(key, {}).get(taster)) is not None
        )


FEW_LOTS = 50
"""Most lots of a team that are read to leave out one; among more its own evidence hardly counts."""


def calibration_of(team: UUID, *, but_lot: UUID | None = None) -> Calibration:
    """Return the team's calibration; the general one before anything was learned.

    A lot that is computed, ``but_lot``, says nothing about the line and the slopes that it is computed with: its own
    evidence would count twice. With more than :data:`FEW_LOTS` others they are those of the last calibration.
    """
    row = _row_of(team)
    line = FinishLine(mean=row.line_mean, sd=row.line_sd)
    slopes = USUAL_SLOPES | from_stored(dict[str, OrderSlope], row.slopes)
    if but_lot is not None:
        others = _evidence(_lots_with_evidence(team).exclude(lot_id=but_lot)[: FEW_LOTS + 1])
        if others.n_lots <= FEW_LOTS:
            line, slopes = others.line(), others.slopes()
    return Calibration(row.version, _scales(row), line, slopes)


def estimate_lot(tastings: LotBrews, *, known: Calibration) -> Figures:
    """Estimate a lot's figures with what is known of its team, as they are stored."""
    return estimate_development(
        tastings.brews,
        rated=tastings.rated,
        even_brew=tastings.even_brew,
        scales=known.scales,
        line=known.line,
        slopes=known.slopes,
    )


def evidence_of(team: UUID) -> LotEvidence:
    """Return what all lots of a team say about it."""
    return _evidence(_lots_with_evidence(team))


def _lots_with_evidence(team: UUID) -> QuerySet[Development]:
    return Development.objects.filter(team_id=team, computed_revision__gt=0).order_by("lot_id")


def _evidence(lots: QuerySet[Development]) -> LotEvidence:
    rows = list(lots.values_list("line_evidence", "slope_evidence"))
    return LotEvidence(
        n_lots=len(rows),
        of_line=[line for line, _ in rows if line],
        of_slopes=[from_stored(dict[str, SlopeEvidence], slopes) for _, slopes in rows],
    )


def panel_of(team: UUID) -> PanelFigures:
    """Return what was learned about the team's tasters."""
    row = _row_of(team)
    return PanelFigures(
        revision=row.computed_revision,
        computed_at=row.computed_at,
        stale=row.due_revision > row.computed_revision,
        line=FinishLine(mean=row.line_mean, sd=row.line_sd),
        scales=_scales(row),
        descriptors=from_stored(dict[str, DescriptorPanel], row.figures),
    )


def taster_calibration(member: Member, taster: UUID) -> PanelFigures:
    """Return the team's figures for reading one taster's rows.

    Raise NotFound for an unknown member, NotAllowed for someone else's if the caller is neither buyer nor owner.
    """
    member_for(member, taster)
    if taster != member.user_id and not member.sees_all_tasters:
        raise NotAllowed(_("a taster sees their own calibration and the panel's"))
    return panel_of(member.team_id)


def tasters_shown(member: Member, panel: PanelFigures) -> list[str]:
    """Return the tasters whose rows the member may see, by id."""
    tasters = sorted({taster for agreement in panel.descriptors.values() for taster in agreement.tasters})
    return tasters if member.sees_all_tasters else [name for name in tasters if name == str(member.user_id)]


def _row_of(team: UUID) -> TeamPanel:
    return TeamPanel.objects.filter(team_id=team).first() or TeamPanel(team_id=team)


def _scales(row: TeamPanel) -> Scales:
    return from_stored(dict[str, dict[str, TasterScale]], row.scales)
