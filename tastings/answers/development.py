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
    infusion: int | None = field(metadata=help_text("number of the infusion; null for the whole session"))
    reason: str = field(metadata=help_text("why its ratings are not used, in words"))


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the figures rest on."""

    sessions: int = field(metadata=help_text("how many are used"))
    infusions: int = field(metadata=help_text("how many are used"))
    tasters: int = field(metadata=help_text("how many tasted them"))
    shops: int = field(metadata=help_text("in how many shops"))
    left_out: tuple[LeftOutTasting, ...] = field(metadata=help_text("what is not used, and why"))


@dataclass(frozen=True, slots=True)
class EvenBrew:
    """The fixed brew to which the sessions of this kind of tea are evened out; ``rinse_s`` is null without a rinse."""

    leaf_g: float = field(metadata=help_text("dry leaf, g"))
    vessel_ml: float = field(metadata=help_text("what the bowl holds, ml"))
    kettle_c: float = field(metadata=help_text("water in the kettle, °C"))
    warmed: bool = field(metadata=help_text("whether the bowl is warm before the leaf goes in"))
    rinse_s: float | None = field(metadata=help_text("contact of the rinse, s; null for none"))
    contact_s: float = field(metadata=help_text("contact of each infusion, s"))
    infusions: int = field(metadata=help_text("how many the curves have"))


@dataclass(frozen=True, slots=True)
class SteepCount:
    """How many infusions are worth drinking."""

    recommended: int | None = field(metadata=help_text("infusions worth drinking; null while unknown"))
    low: int | None = field(metadata=help_text("fewest within the interval"))
    high: int | None = field(metadata=help_text("most within the interval"))
    level: float = field(metadata=help_text("of the interval"))
    finish_line: float = field(metadata=help_text("strength below which a cup is spent, points"))
    sessions_spent: int = field(metadata=help_text("sessions that ended because the leaf was spent"))
    sessions_stopped: int = field(metadata=help_text("sessions that ended before that"))


@dataclass(frozen=True, slots=True)
class BrewDeparture:
    """How a pour departed from the even brew or its session's habit, and what that did to the cup."""

    session: str
    infusion: int = field(
        metadata=help_text("number of the infusion; of what holds through a session, the first tasted")
    )
    kind: Kind = field(metadata=help_text("what was different"))
    effect: float = field(metadata=help_text("points of strength"))
    detail: str = field(metadata=help_text("in words"))


@dataclass(frozen=True, slots=True)
class OtherwisePoint:
    """One infusion's ratings as given, and without the departures."""

    infusion: int
    ratings: int = field(metadata=help_text("how many ratings there are"))
    departed: int = field(metadata=help_text("how many of them the brewing moved by a tenth of a point or more"))
    shown: float = field(metadata=help_text("mean of the ratings as given, points"))
    otherwise: float = field(metadata=help_text("curve of the even brew, points"))


@dataclass(frozen=True, slots=True)
class Otherwise:
    """What the ratings of a descriptor would have shown without the departures."""

    descriptor: str
    points: tuple[OtherwisePoint, ...] = field(metadata=help_text("one for each infusion that was rated"))
    sentence: str


@dataclass(frozen=True, slots=True)
class DevelopmentAnswer:
    """How a lot's flavour develops over infusions."""

    lot: UUID
    revision: int = field(metadata=help_text("the team's revision up to which the figures are"))
    computed_at: datetime | None
    stale: bool = field(metadata=help_text("true while a change to the lot's sessions is not in the figures"))
    evidence: Evidence = field(metadata=help_text("what the figures rest on"))
    even_brew: EvenBrew = field(metadata=help_text("the brew to which all sessions are evened out"))
    profile: Profile = field(metadata=help_text("how the strength runs over the infusions"))
    steeps: SteepCount = field(metadata=help_text("how many infusions are worth drinking"))
    forecast: Forecast | None = field(metadata=help_text("null once the eighth infusion is rated"))
    curves: tuple[DescriptorCurve, ...] = field(metadata=help_text("one for each descriptor that was rated"))
    layers: tuple[Layer, ...] = field(metadata=help_text("which flavours lead, come and go in each infusion"))
    departures: tuple[BrewDeparture, ...] = field(
        metadata=help_text("pours that were brewed otherwise, and what that did to the cup")
    )
    next: str = field(metadata=help_text("what one more session would settle, in words"))
    cautions: tuple[str, ...]
    sentence: str = field(metadata=help_text("what changes from cup to cup, to say to a guest"))
    otherwise: Otherwise = field(metadata=help_text("the ratings beside what they would be on the even brew"))


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
