"""The answer of ``GET /lots/{id}/development``."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from tastings.answers.copying import answer_from
from tastings.answers.forecast import Forecast, forecast_answer
from tastings.answers.help_text import help_text
from tastings.maths.brewing.even_brew import EVEN_INFUSIONS
from tastings.maths.curve.departures import Departure, Kind
from tastings.maths.curve.development import DescriptorCurve, Development
from tastings.maths.curve.development import Evidence as EvidenceFigures
from tastings.maths.curve.layers import Layer
from tastings.maths.curve.profile import Profile
from tastings.maths.curve.steep_count import LEVEL
from tastings.queries.developments import LotDevelopment
from tastings.wording import development as words
from tastings.wording.left_out import left_out_reason


@dataclass(frozen=True, slots=True)
class LeftOutTasting:
    """A session, or one infusion of it, whose ratings are not used."""

    session: str
    infusion: int | None
    reason: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the figures rest on."""

    sessions: int
    infusions: int
    tasters: int
    shops: int
    left_out: tuple[LeftOutTasting, ...]


@dataclass(frozen=True, slots=True)
class EvenBrew:
    """The fixed brew to which the sessions of this kind of tea are evened out; ``rinse_s`` is null without a rinse."""

    leaf_g: float
    vessel_ml: float
    kettle_c: float
    warmed: bool
    rinse_s: float | None
    contact_s: float
    infusions: int


@dataclass(frozen=True, slots=True)
class SteepCount:
    """How many infusions are worth drinking."""

    recommended: int | None
    low: int | None
    high: int | None
    level: float = field(metadata=help_text("of the interval"))
    finish_line: float = field(metadata=help_text("strength below which a cup is spent, points"))
    sessions_spent: int
    sessions_stopped: int


@dataclass(frozen=True, slots=True)
class BrewDeparture:
    """How a pour departed from the even brew or its session's habit, and what that did to the cup."""

    session: str
    infusion: int
    kind: Kind
    effect: float = field(metadata=help_text("points of strength"))
    detail: str


@dataclass(frozen=True, slots=True)
class OtherwisePoint:
    """One infusion's ratings as given, and without the departures."""

    infusion: int
    ratings: int
    departed: int
    shown: float
    otherwise: float


@dataclass(frozen=True, slots=True)
class Otherwise:
    """What the ratings of a descriptor would have shown without the departures."""

    descriptor: str
    points: tuple[OtherwisePoint, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class DevelopmentAnswer:
    """How a lot's flavour develops over infusions."""

    lot: UUID
    revision: int
    computed_at: datetime | None
    stale: bool = field(metadata=help_text("true while a change to the lot's sessions is not in the figures"))
    evidence: Evidence
    even_brew: EvenBrew
    profile: Profile
    steeps: SteepCount
    forecast: Forecast | None = field(metadata=help_text("null once the eighth infusion is rated"))
    curves: tuple[DescriptorCurve, ...]
    layers: tuple[Layer, ...]
    departures: tuple[BrewDeparture, ...]
    next: str
    cautions: tuple[str, ...]
    sentence: str = field(metadata=help_text("what changes from cup to cup, to say to a guest"))
    otherwise: Otherwise


def development_answer(lot: LotDevelopment, *, labels: Mapping[str, str]) -> DevelopmentAnswer:
    """Return the answer, its sentences in the language that is active; ``labels`` are the team's words by key."""
    figures = lot.figures
    return answer_from(
        DevelopmentAnswer,
        lot,
        evidence=evidence_answer(figures.evidence),
        even_brew=_even_brew(figures),
        profile=figures.profile,
        steeps=steeps_answer(figures),
        forecast=forecast_answer(figures),
        curves=figures.curves,
        layers=figures.layers,
        departures=tuple(map(_departure, figures.departures)),
        next=words.next_session_sentence(figures.next),
        cautions=tuple(words.development_cautions(figures, kind=lot.kind, water_tds_mg_l=lot.water_tds_mg_l)),
        sentence=words.flavour_sentence(
            figures.layers, labels=labels, steeps=figures.steeps.recommended, points=figures.flavour_points
        ),
        otherwise=_counterfactual(figures),
    )


def evidence_answer(figures: EvidenceFigures) -> Evidence:
    """Return what the figures rest on, reasons in words."""
    left_out = (LeftOutTasting(item.session, item.infusion, left_out_reason(item)) for item in figures.left_out)
    return answer_from(Evidence, figures, left_out=tuple(left_out))


def steeps_answer(figures: Development) -> SteepCount:
    """Return the count of infusions worth drinking, and how the sessions ended."""
    return answer_from(
        SteepCount,
        figures.steeps,
        level=LEVEL,
        sessions_spent=figures.sessions_spent,
        sessions_stopped=figures.sessions_stopped,
    )


def _even_brew(figures: Development) -> EvenBrew:
    infusions = max([EVEN_INFUSIONS, *(len(curve.points) for curve in figures.curves)])
    return answer_from(EvenBrew, figures.even_brew, warmed=True, infusions=infusions)


def _departure(row: Departure) -> BrewDeparture:
    return BrewDeparture(row.session, row.infusion, row.kind, row.effect, words.departure_detail(row))


def _counterfactual(figures: Development) -> Otherwise:
    rated = figures.counterfactual
    return Otherwise(
        descriptor=rated.descriptor,
        points=tuple(
            OtherwisePoint(cup.infusion, cup.ratings, cup.departed, cup.shown, cup.without) for cup in rated.points
        ),
        sentence=words.counterfactual_sentence(rated, even_brew=figures.even_brew),
    )
