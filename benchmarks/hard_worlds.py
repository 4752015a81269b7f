"""Worlds that are harder on the estimator: other leaf, other tables, the noise of real panels.

A cup holds three solutes that leave the leaf at their own rates; the leaf opens while it steeps, and liquor stays
between the leaves from one infusion to the next. Its taste saturates as in ``benchmarks/worlds.py``. On top of that
each world has one trouble of its own (:data:`HARD_WORLDS`). Noise, shifts and levels of the ``real panels`` are those
found in published panels: a retest sd of 1.74 to 1.77 points, session shifts of 0.46, taster levels of 1.35.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from benchmarks.curves import World
from benchmarks.worlds import MAKES, USUAL_SPREAD, USUAL_TABLE, Table, TeamSpread
from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew
from tastings.maths.brewing.even_brew import EVEN_INFUSIONS, even_brew
from tastings.maths.brewing.extraction import REFERENCE_SHARE
from tastings.maths.brewing.heat import RETAINED_WATER_G_PER_G, arrhenius_factor, steeping_of

ROLLED, TWISTED, BROKEN = range(len(MAKES))
FORMS = ("rolled", "twisted", "broken")
RATES = (2.5, 1.0, 0.35)
"""Of the three solutes, against that of the leaf."""


@dataclass(frozen=True, slots=True)
class ThreeSoluteLeaf:
    """What one lot is really like."""

    k_per_min: float  # rate of the middle solute [1/min at 100 deg C]
    tau_s: float  # wetting lag [s]
    parts: FloatArray  # float64[3]: how much of the taste each solute makes; they sum to 1
    opening: float  # by how much of itself the rate grows as the leaf opens [1]
    opening_s: float  # how long that takes [s]
    # ea_kj_mol, top, half, slope: as of `benchmarks.worlds.SimulatedLeaf`
    ea_kj_mol: float
    top: float
    half: float
    slope: float
    form: str  # one of `FORMS`

    def cups(self, brew: Brew) -> FloatArray:
        """Return the true strength of each pour of a brew. [points, 0 to 10]."""
        steeping = steeping_of(brew, brew.pours)
        rate = arrhenius_factor((steeping.start_c + steeping.end_c) / 2, ea_kj_mol=self.ea_kj_mol)
        edges = np.concatenate([[0.0], np.cumsum(steeping.contact_s)])
        seconds = np.arange(0.25, edges[-1], 0.5)
        speed = -np.expm1(-seconds / self.tau_s) * (1 - self.opening * np.exp(-seconds / self.opening_s))
        done = np.concatenate([[0.0], np.cumsum(speed * 0.5)])
        steps = rate * np.diff(np.interp(edges, np.append(seconds - 0.25, edges[-1]), done)) / 60
        rates = self.k_per_min * np.array(RATES)[:, None]
        before = np.cumsum(steps) - steps
        extracted = self.parts @ (np.exp(-rates * before) * -np.expm1(-rates * steps))
        in_leaf_ml = RETAINED_WATER_G_PER_G * brew.leaf_g
        content, in_leaf = np.empty(extracted.size), 0.0
        for i, out in enumerate(extracted):
            water_ml = brew.pours[i].water_ml or brew.vessel_ml
            in_pot = out + in_leaf
            in_leaf = in_pot * in_leaf_ml / (water_ml + in_leaf_ml)
            content[i] = (in_pot - in_leaf) * brew.leaf_g / water_ml * (110.0 / 5.0) / REFERENCE_SHARE
        content **= self.slope
        return np.asarray(self.top * content / (content + self.half**self.slope), dtype=np.float64)

    def even_cups(self, *, infusions: int = EVEN_INFUSIONS) -> FloatArray:
        """Return the true strength of the even-brew infusions. [points, 0 to 10]."""
        return self.cups(even_brew(infusions=infusions))[1:]


def draw_three_solutes(rng: np.random.Generator, *, make: int | None = None) -> ThreeSoluteLeaf:
    """Draw a lot of any make, or of one."""
    place = int(rng.integers(len(MAKES))) if make is None else make
    k_per_min, tau_s = MAKES[place]
    return ThreeSoluteLeaf(
        k_per_min=k_per_min * float(np.exp(rng.normal(0.0, 0.4))),
        tau_s=tau_s * float(np.exp(rng.normal(0.0, 0.5))),
        parts=rng.dirichlet([4.0, 4.0, 4.0]),
        opening=float(rng.uniform(0.2, 0.6)),
        opening_s=float(rng.uniform(20.0, 90.0)),
        ea_kj_mol=float(rng.uniform(20.0, 50.0)),
        top=float(rng.uniform(7.0, 10.0)),
        half=float(rng.uniform(0.5, 1.5)),
        slope=float(rng.uniform(0.9, 1.6)),
        form=FORMS[place],
    )


TEAM_LOTS = 12


def _world(
    make: int | None = None, *, table: Table = USUAL_TABLE, spread: TeamSpread = USUAL_SPREAD, lots: int = 1
) -> World:
    leaf: Callable[[np.random.Generator], ThreeSoluteLeaf] = partial(draw_three_solutes, make=make)
    return World(leaf=leaf, table=table, spread=spread, lots=lots)


HARD_WORLDS: Mapping[str, World] = {
    "three solutes": _world(),
    "fatigue": _world(table=Table(fatigue_per_cup=0.15)),
    "kettle misread": _world(table=Table(kettle_c=90.0, typed_c=100.0)),
    "broken leaf": _world(BROKEN),
    "slow leaf": _world(ROLLED),
    "one taster": _world(table=Table(same_taster=True)),
    "stops at three": _world(table=Table(last=3)),
    "real panels": _world(table=Table(session_shift_sd=0.46), spread=TeamSpread(shift_sd=1.35, noise=(1.74, 1.74))),
    "fatigue, 12 lots": _world(table=Table(fatigue_per_cup=0.15), lots=TEAM_LOTS),
    "no fatigue, 12 lots": _world(lots=TEAM_LOTS),
}
