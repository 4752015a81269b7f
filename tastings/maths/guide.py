"""Steep times for a particular pot that keep the cup at one strength, and where it can no longer be kept.

The lot's posterior is carried into the pot at hand: its leaf and water, its heat, how long it takes to pour. Each steep
is chosen so that the mean cup meets the target; once even a five-minute steep cannot, the steeps stay at five minutes
and the strength falls, until an infusion is no longer worth drinking.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tastings.maths.advice import cautions
from tastings.maths.brewing import EVEN_INFUSIONS, EVEN_RINSE_S, FloatArray, Steeping, even_brew, steeped
from tastings.maths.brews import HIGHEST, LOWEST, Brew, Pour, TasterScale, checked
from tastings.maths.development import plain
from tastings.maths.endings import FinishLine
from tastings.maths.evidence import follow
from tastings.maths.extraction import Grid, cup_strength, paired_cups, usual_grid
from tastings.maths.posterior import Draws, Posterior, fit
from tastings.maths.profile import curve

SHORTEST_S = 1.0
LONGEST_S = 300.0
N_DRAWS = 256
STRENGTH = "strength"


@dataclass(frozen=True, slots=True)
class Pot:
    """What the tea is to be brewed in; names, units and unknown values as in :class:`tastings.maths.brews.Brew`."""

    leaf_g: float
    vessel_ml: float
    kettle_c: float
    vessel_material: str = "porcelain"
    vessel_g: float | None = None
    warmed: bool = True
    pour_s: float | None = None
    altitude_m: float | None = None

    def brew(self, pours: tuple[Pour, ...]) -> Brew:
        """Return a session in this pot."""
        return replace(
            even_brew(),
            session="guide",
            leaf_g=self.leaf_g,
            vessel_ml=self.vessel_ml,
            vessel_material=self.vessel_material,
            vessel_g=self.vessel_g,
            warmed=self.warmed,
            altitude_m=self.altitude_m,
            pours=pours,
        )

    def pour(self, number: int, *, steep_s: float) -> Pour:
        """Return one pour of it."""
        return Pour(
            number=number,
            steep_s=steep_s,
            pour_s=self.pour_s,
            kettle_c=self.kettle_c,
            water_ml=None,
            rest_s=None,
            ratings={},
            noted=frozenset(),
            tasted=number > 0,
        )


@dataclass(frozen=True, slots=True)
class GuidedPour:
    """One infusion of the guide: its times [s] and the mean cup with its central 80 % interval [points, 0 to 10]."""

    number: int
    steep_s: float
    pour_s: float
    contact_s: float
    expected_strength: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Guide:
    """Steep times for a pot.

    Parameters
    ----------
    infusions : tuple[GuidedPour, ...]
        Up to twelve, the last one worth drinking among them; none while nobody has rated the lot's strength.
    last_worthwhile : int or None
        The last infusion above the finish line with probability at least 0.5; 0 when none is, None when unknown.
    target_strength : float or None
        What the steeps aim at: the mean of the even-brew infusions above the finish line. [points]
    cautions : tuple[str, ...]
        What to be careful about.
    """

    infusions: tuple[GuidedPour, ...]
    last_worthwhile: int | None
    target_strength: float | None
    cautions: tuple[str, ...]

    def as_json(self) -> dict[str, object]:
        """Return the figures of ``GET /lots/{id}/brew-guide`` in plain types, rounded to 3 decimals."""
        return {
            "infusions": [
                {
                    "number": one.number,
                    "steep_s": plain(one.steep_s),
                    "pour_s": plain(one.pour_s),
                    "contact_s": plain(one.contact_s),
                    "expected_strength": plain(one.expected_strength),
                    "low": plain(one.low),
                    "high": plain(one.high),
                }
                for one in self.infusions
            ],
            "last_worthwhile": self.last_worthwhile,
            "target_strength": None if self.target_strength is None else plain(self.target_strength),
            "cautions": list(self.cautions),
        }


def guide(
    brews: Sequence[Brew],
    *,
    pot: Pot,
    scales: Mapping[str, Mapping[str, TasterScale]] | None = None,
    line: FinishLine | None = None,
) -> Guide:
    """Return steep times that keep the cup at the target strength in a pot.

    Parameters
    ----------
    brews : Sequence[Brew]
        The lot's sessions.
    pot : Pot
        What it is to be brewed in.
    scales, line
        As in :func:`tastings.maths.develop.develop`.

    Returns
    -------
    Guide
        The same for the same input.

    Raises
    ------
    BrewError
        A number of a brew or of the pot cannot be one.
    """
    grid = usual_grid()
    checked([pot.brew((pot.pour(1, steep_s=SHORTEST_S),))])
    followed, _ = follow(checked(brews), grid=grid, scales=scales or {})
    tasted = [ratings for one in followed if (ratings := one.tasted(STRENGTH)) is not None]
    warnings = cautions(followed, leaf_g=pot.leaf_g)
    if not tasted:
        return Guide(infusions=(), last_worthwhile=None, target_strength=None, cautions=warnings)
    finish_line = (line or FinishLine()).mean
    posterior = fit(tasted, grid=grid)
    leaf = _Leaf.of(posterior.draws(n_draws=N_DRAWS), grid=grid)
    target = _target(posterior, grid=grid, finish_line=finish_line)

    pours: tuple[Pour, ...] = (replace(pot.pour(0, steep_s=EVEN_RINSE_S), pour_s=0.0),)
    guided: list[GuidedPour] = []
    worthwhile = 0
    for number in range(1, EVEN_INFUSIONS + 1):
        steep_s = _steep_for(target, pot=pot, before=pours, number=number, leaf=leaf)
        pours = (*pours, pot.pour(number, steep_s=steep_s))
        steeping = steeped(pot.brew(pours), pours)
        cups = leaf.last_cup(steeping)
        shown = curve(cups[:, None])
        if float((cups > finish_line).mean()) >= 0.5:
            worthwhile = number
        guided.append(
            GuidedPour(
                number=number,
                steep_s=steep_s,
                pour_s=2 * (float(steeping.contact_s[-1]) - steep_s),
                contact_s=float(steeping.contact_s[-1]),
                expected_strength=float(shown.mean[0]),
                low=float(shown.low[0]),
                high=float(shown.high[0]),
            )
        )
        if steep_s >= LONGEST_S and worthwhile < number:
            break
    return Guide(infusions=tuple(guided), last_worthwhile=worthwhile, target_strength=target, cautions=warnings)


@dataclass(frozen=True, slots=True)
class _Leaf:
    """The draws of a posterior as leaf: k, tau, n and level of each."""

    k_per_min: FloatArray
    tau_s: FloatArray
    n: FloatArray
    level: FloatArray

    @classmethod
    def of(cls, draws: Draws, *, grid: Grid) -> "_Leaf":
        k, tau, n = np.unravel_index(draws.node, (grid.k_per_min.size, grid.tau_s.size, grid.n.size))
        return cls(k_per_min=grid.k_per_min[k], tau_s=grid.tau_s[tau], n=grid.n[n], level=draws.level)

    def last_cup(self, steeping: Steeping) -> FloatArray:
        """Return the strength of the last pour in each draw [points, 0 to 10]."""
        cups = paired_cups(steeping, k_per_min=self.k_per_min, tau_s=self.tau_s, n=self.n)
        return np.clip(self.level * cups[:, -1], LOWEST, HIGHEST)


def _target(posterior: Posterior, *, grid: Grid, finish_line: float) -> float:
    even = even_brew()
    mean = np.clip(posterior.node_level @ cup_strength(steeped(even, even.pours), grid=grid)[:, 1:], LOWEST, HIGHEST)
    worth = mean[mean > finish_line]
    return float(worth.mean()) if worth.size else float(mean.max())


def _steep_for(target: float, *, pot: Pot, before: tuple[Pour, ...], number: int, leaf: _Leaf) -> float:
    """Bisect for the steep whose mean cup meets the target, then round as a clock is read at the table [s]."""

    def strength(steep_s: float) -> float:
        pours = (*before, pot.pour(number, steep_s=steep_s))
        return float(leaf.last_cup(steeped(pot.brew(pours), pours)).mean())

    low_s, high_s = SHORTEST_S, LONGEST_S
    if strength(low_s) >= target:
        return low_s
    if strength(high_s) <= target:
        return high_s
    while high_s - low_s > 0.5:
        middle_s = (low_s + high_s) / 2
        low_s, high_s = (middle_s, high_s) if strength(middle_s) < target else (low_s, middle_s)
    step_s = 1.0 if high_s < 30 else 5.0
    return max(round(high_s / step_s) * step_s, SHORTEST_S)
