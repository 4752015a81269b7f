"""How a team's tasters use the scale and how far they agree, as it is answered."""

from dataclasses import asdict, dataclass, field
from datetime import datetime
from uuid import UUID

from tastings.answers.copying import answer_from
from tastings.answers.help_text import help_text
from tastings.maths.panel.joining import joining
from tastings.maths.panel.panel import PanelAgreement
from tastings.queries.panels import PanelFigures, TasterRow


@dataclass(frozen=True, slots=True)
class TasterOnDescriptor:
    """How one taster uses the scale for one descriptor, and how they do."""

    descriptor: str
    gain: float = field(metadata=help_text("1: as the panel; above 1 spreads more"))
    gain_sd: float = field(metadata=help_text("standard deviation of the gain"))
    offset: float = field(metadata=help_text("points above the panel"))
    offset_sd: float = field(metadata=help_text("standard deviation of the offset, points"))
    known: bool = field(metadata=help_text("whether gain and offset are known well enough"))
    blind_cups_to_known: int = field(metadata=help_text("about so many more, of lots the others tasted, would do it"))
    sessions: int = field(metadata=help_text("how many the figures rest on"))
    lots: int = field(metadata=help_text("how many the figures rest on"))
    repeatability_sd: float | None = field(metadata=help_text("of the same infusion of the same lot, points"))
    agreement: float | None = field(metadata=help_text("correlation with the others' mean over lots"))
    discrimination_p: float | None = field(metadata=help_text("small when the taster tells lots apart"))


@dataclass(frozen=True, slots=True)
class TasterCalibration:
    """One taster, by descriptor."""

    revision: int = field(metadata=help_text("the team's revision up to which the figures are"))
    computed_at: datetime | None
    stale: bool
    taster: UUID
    descriptors: tuple[TasterOnDescriptor, ...] = field(
        metadata=help_text("one for each descriptor that the taster rated")
    )


@dataclass(frozen=True, slots=True)
class FinishLineAnswer:
    """Strength below which the team calls a cup spent. [points]."""

    mean: float = field(metadata=help_text("strength, points"))
    sd: float = field(metadata=help_text("standard deviation of that, points"))


@dataclass(frozen=True, slots=True)
class DescriptorAgreement:
    """How far the tasters agree on one descriptor."""

    descriptor: str
    tasters: int = field(metadata=help_text("how many it rests on"))
    lots: int = field(metadata=help_text("how many it rests on"))
    icc_single: float | None = field(metadata=help_text("ICC(2,1), Shrout and Fleiss 1979"))
    icc_mean: float | None = field(metadata=help_text("ICC(3,k)"))
    kendall_w: float | None


@dataclass(frozen=True, slots=True)
class PanelTaster:
    """One taster of the panel."""

    taster: UUID
    descriptors: tuple[TasterOnDescriptor, ...] = field(
        metadata=help_text("one for each descriptor that the taster rated")
    )


@dataclass(frozen=True, slots=True)
class Panel:
    """The tasters together."""

    revision: int = field(metadata=help_text("the team's revision up to which the figures are"))
    computed_at: datetime | None
    stale: bool
    finish_line: FinishLineAnswer = field(metadata=help_text("strength below which a cup is spent"))
    agreement: tuple[DescriptorAgreement, ...] = field(metadata=help_text("one for each descriptor"))
    tasters: tuple[PanelTaster, ...] = field(metadata=help_text("one for each taster that the caller may see"))


def calibration_answer(panel: PanelFigures, taster: UUID) -> TasterCalibration:
    """Return one taster's figures."""
    rows = tuple(map(_row, panel.rows_of(str(taster))))
    return answer_from(TasterCalibration, panel, taster=taster, descriptors=rows)


def panel_answer(panel: PanelFigures, *, tasters: list[str]) -> Panel:
    """Return the panel with the rows of the tasters named."""
    return answer_from(
        Panel,
        panel,
        finish_line=FinishLineAnswer(round(panel.line.mean, 2), round(panel.line.sd, 2)),
        agreement=tuple(_agreement(key, scale.agreement) for key, scale in sorted(panel.descriptors.items())),
        tasters=tuple(PanelTaster(UUID(name), tuple(map(_row, panel.rows_of(name)))) for name in tasters),
    )


def _agreement(descriptor: str, agreement: PanelAgreement) -> DescriptorAgreement:
    return DescriptorAgreement(
        descriptor=descriptor,
        tasters=len(agreement.tasters),
        lots=agreement.lots,
        icc_single=agreement.single,
        icc_mean=agreement.mean,
        kendall_w=agreement.w,
    )


def _row(row: TasterRow) -> TasterOnDescriptor:
    progress = joining(row.scale)
    return answer_from(
        TasterOnDescriptor,
        row.figures,
        **asdict(row.scale),
        descriptor=row.descriptor,
        known=progress.known,
        blind_cups_to_known=progress.needed - progress.done,
    )
