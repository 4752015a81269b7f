"""The result: how a lot's flavour develops, as the public contract words it."""

from dataclasses import dataclass
from math import isfinite

from tastings.maths.brewing.heat import (
    EVEN_CONTACT_S,
    EVEN_INFUSIONS,
    EVEN_KETTLE_C,
    EVEN_LEAF_G,
    EVEN_RINSE_S,
    EVEN_VESSEL_ML,
)
from tastings.maths.curve.departures import Departure
from tastings.maths.curve.evidence import LeftOut
from tastings.maths.curve.layers import Layer
from tastings.maths.curve.profile import Profile
from tastings.maths.curve.steep_count import LEVEL, Steeps

DECIMALS = 3
METHOD = "4"
"""Version of the whole method: stored figures of another version are computed again."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """How much the figures rest on: counts of what was used, and what was left out."""

    sessions: int
    infusions: int
    tasters: int
    shops: int
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One infusion of a curve: the mean cup and its central 80 % interval. [points, 0 to 10].

    ``observed`` is the mean of the ``n`` ratings of that infusion, each brought to the even brew: the rating plus what
    the fitted model says the even brew's cup differs from the cup tasted.
    """

    infusion: int
    mean: float
    low: float
    high: float
    observed: float | None
    n: int


@dataclass(frozen=True, slots=True)
class DescriptorCurve:
    """The even-brew curve of one descriptor."""

    descriptor: str
    points: tuple[CurvePoint, ...]
    profile: Profile


@dataclass(frozen=True, slots=True)
class TastedPoint:
    """One rating as it was given, and as it would have been on the even brew [points, 0 to 10]."""

    session: str
    taster: str
    infusion: int
    descriptor: str
    rating: float
    adjusted: float


@dataclass(frozen=True, slots=True)
class Development:
    """How a lot's flavour develops over infusions.

    ``tasted`` is for plotting the ratings behind the curves, ``line_evidence`` for learning the team's finish line
    from several lots (:func:`tastings.maths.curve.endings.finish_line`); neither is part of :meth:`as_json`.
    """

    evidence: Evidence
    profile: Profile
    steeps: Steeps
    sessions_spent: int
    sessions_stopped: int
    curves: tuple[DescriptorCurve, ...]
    layers: tuple[Layer, ...]
    departures: tuple[Departure, ...]
    next: str
    cautions: tuple[str, ...]
    tasted: tuple[TastedPoint, ...]
    line_evidence: tuple[float, ...]

    def as_json(self) -> dict[str, object]:
        """Return the figures under the contract's names, in plain types, rounded to 3 decimals.

        Returns
        -------
        dict[str, object]
            Everything of ``GET /lots/{id}/development`` but ``lot``, ``revision``, ``computed_at`` and ``stale``.
        """
        return {
            "evidence": {
                "sessions": self.evidence.sessions,
                "infusions": self.evidence.infusions,
                "tasters": self.evidence.tasters,
                "shops": self.evidence.shops,
                "left_out": [
                    {"session": one.session, "infusion": one.infusion, "reason": one.reason}
                    for one in self.evidence.left_out
                ],
            },
            "even_brew": {
                "leaf_g": EVEN_LEAF_G,
                "vessel_ml": EVEN_VESSEL_ML,
                "kettle_c": EVEN_KETTLE_C,
                "warmed": True,
                "rinse_s": EVEN_RINSE_S,
                "contact_s": EVEN_CONTACT_S,
                "infusions": EVEN_INFUSIONS,
            },
            "profile": _profile(self.profile),
            "steeps": {
                "recommended": self.steeps.recommended,
                "low": self.steeps.low,
                "high": self.steeps.high,
                "level": LEVEL,
                "finish_line": plain(self.steeps.finish_line),
                "sessions_spent": self.sessions_spent,
                "sessions_stopped": self.sessions_stopped,
            },
            "curves": [
                {
                    "descriptor": one.descriptor,
                    "points": [
                        {
                            "infusion": point.infusion,
                            "mean": plain(point.mean),
                            "low": plain(point.low),
                            "high": plain(point.high),
                            "observed": None if point.observed is None else plain(point.observed),
                            "n": point.n,
                        }
                        for point in one.points
                    ],
                    "profile": _profile(one.profile),
                }
                for one in self.curves
            ],
            "layers": [
                {
                    "infusion": one.infusion,
                    "leading": list(one.leading),
                    "new": list(one.new),
                    "gone": list(one.gone),
                    "richness": plain(one.richness),
                }
                for one in self.layers
            ],
            "departures": [
                {
                    "session": one.session,
                    "infusion": one.infusion,
                    "kind": one.kind,
                    "effect": plain(one.effect),
                    "detail": one.detail,
                }
                for one in self.departures
            ],
            "next": self.next,
            "cautions": list(self.cautions),
        }


def _profile(found: Profile) -> dict[str, object]:
    return {
        "label": found.label,
        "probability": {name: plain(p) for name, p in found.probability.items()},
        "peak_infusion": found.peak_infusion,
        "rise": plain(found.rise),
        "half_strength_infusion": found.half_strength_infusion,
    }


def plain(value: float) -> float:
    """Round for JSON; a number that JSON cannot hold would be a fault here, not an answer."""
    if not isfinite(value):
        raise ArithmeticError(f"a computed figure is {value}")
    return round(float(value), DECIMALS) + 0.0  # + 0.0 turns -0.0 into 0.0
