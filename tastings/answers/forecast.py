"""The answer of ``GET /lots/{id}/other-vessel``, and the forecast in that of ``GET /lots/{id}/development``."""

from dataclasses import dataclass, field
from uuid import UUID

from tastings.answers.copying import answer_from
from tastings.answers.guide import BrewPot
from tastings.answers.help_text import help_text
from tastings.maths.curve.development import Development
from tastings.maths.forecast.course import course_forecast
from tastings.maths.forecast.vessel import NOTICEABLE, CupForecast, VesselForecast
from tastings.maths.guide.pots import Vessel
from tastings.wording import cautions
from tastings.wording import forecast as words


@dataclass(frozen=True, slots=True)
class Forecast:
    """On how few cups profile and steeps rest, and how often such a forecast came true in simulated tastings."""

    rated_to: int = field(metadata=help_text("last infusion whose strength anybody rated"))
    course_right: float | None = field(
        metadata=help_text("share of simulated lots whose profile, where named, was the true one; null for undecided")
    )
    count_covered: float = field(metadata=help_text("share whose number of steeps lay within low and high"))
    sentence: str


@dataclass(frozen=True, slots=True)
class OtherVessel:
    """How strong a lot would be in another vessel, the steeps being the same."""

    lot: UUID
    first: BrewPot | None = field(metadata=help_text("in which it was tasted most often; null while not rated"))
    other: BrewPot | None = field(metadata=help_text("the vessel asked about; null while not rated"))
    contact_s: float | None = field(metadata=help_text("of every infusion, in both"))
    rated_to: int | None = field(metadata=help_text("last infusion whose strength anybody rated"))
    noticeable: float = field(metadata=help_text("a difference above this counts as stronger or weaker, points"))
    cups: tuple[CupForecast, ...] = field(metadata=help_text("one for each infusion"))
    good_cups: int | None = field(metadata=help_text("cups above the finish line, of which the next two are the mean"))
    stronger: float | None = field(metadata=help_text("probability"))
    weaker: float | None = field(metadata=help_text("probability"))
    sentence: str
    cautions: tuple[str, ...]


def forecast_answer(figures: Development) -> Forecast | None:
    """Return it for a lot of which only the first cups were rated; None for others."""
    course = course_forecast(figures)
    if course is None:
        return None
    return Forecast(course.rated_to, course.course_right, course.count_covered, words.course_forecast_sentence(course))


def other_vessel_answer(lot: UUID, forecast: VesselForecast | None) -> OtherVessel:
    """Return the answer, its sentences in the language that is active; None is a lot whose strength nobody rated."""
    return OtherVessel(
        lot=lot,
        first=None if forecast is None else _pot(forecast.first),
        other=None if forecast is None else _pot(forecast.other),
        contact_s=None if forecast is None else forecast.contact_s,
        rated_to=None if forecast is None else forecast.rated_to,
        noticeable=NOTICEABLE,
        cups=() if forecast is None else forecast.cups,
        good_cups=None if forecast is None else forecast.good_cups,
        stronger=None if forecast is None else forecast.stronger,
        weaker=None if forecast is None else forecast.weaker,
        sentence=words.no_vessel_forecast() if forecast is None else words.vessel_forecast_sentence(forecast),
        cautions=(words.vessel_forecast_note(), cautions.scalding(), cautions.hot_drink()),
    )


def _pot(vessel: Vessel) -> BrewPot:
    return answer_from(BrewPot, vessel, water_ml=vessel.vessel_ml, kettle_c=vessel.poured_c)
