"""The result: how a lot's flavour develops over infusions."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from tastings.maths.brewing.even_brew import EvenBrew
from tastings.maths.curve.counterfactual import Counterfactual
from tastings.maths.curve.departures import Departure
from tastings.maths.curve.evidence import LeftOut
from tastings.maths.curve.layers import Layer
from tastings.maths.curve.next_session import NextSession
from tastings.maths.curve.order_slope import SlopeEvidence
from tastings.maths.curve.profile import Profile
from tastings.maths.curve.steep_count import Steeps
from tastings.maths.curve.tasted import TastedPoint

METHOD = "18"
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
    """One infusion of a curve: the mean cup and its 80 % interval. [points, 0 to 10].

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
class LackOfFitAt:
    """A descriptor whose curve is a smooth of the adjusted ratings, and the infusion that departs most."""

    descriptor: str
    infusion: int


@dataclass(frozen=True, slots=True)
class Development:
    """How a lot's flavour develops over infusions.

    ``leaf_range_g`` is the least and the most leaf of its sessions, None without one; ``lack_of_fit`` names the
    descriptors whose ratings do not follow the extraction model; ``good_cups`` has the mean of each curve over the cups
    worth drinking [points]; ``even_brew`` is what the sessions are evened out to; ``counterfactual`` is that of
    strength. ``strength_beyond`` continues the curve of strength where the count's range ends later than the curve, up
    to that end; nobody rated those cups. ``tasted`` serves to plot the ratings behind the curves; ``flavour_points`` is
    what the layers are found from, by descriptor at infusion 1, 2, ... [points]; ``line_evidence`` serves to learn the
    team's finish line from several lots (:func:`tastings.maths.curve.endings.estimate_finish_line`); ``slope_evidence``
    to learn its slopes of the cups' order, by descriptor (:func:`tastings.maths.curve.order_slope.team_slopes`).
    """

    evidence: Evidence
    profile: Profile
    steeps: Steeps
    sessions_spent: int
    sessions_stopped: int
    curves: tuple[DescriptorCurve, ...]
    layers: tuple[Layer, ...]
    departures: tuple[Departure, ...]
    next: NextSession
    leaf_range_g: tuple[float, float] | None
    lack_of_fit: tuple[LackOfFitAt, ...]
    good_cups: Mapping[str, float]
    even_brew: EvenBrew
    counterfactual: Counterfactual
    strength_beyond: tuple[CurvePoint, ...] = ()
    tasted: tuple[TastedPoint, ...] = ()
    flavour_points: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    line_evidence: tuple[float, ...] = ()
    slope_evidence: Mapping[str, SlopeEvidence] = field(default_factory=dict)

    def curve_of(self, descriptor: str) -> tuple[CurvePoint, ...]:
        """Return the points of a descriptor's curve; none when nobody rated it."""
        return next((curve.points for curve in self.curves if curve.descriptor == descriptor), ())
