"""How a lot's tasters brewed it: heat, leaf to water and rinse, for a guide that is told nothing else.

Heat and leaf belong to the tea more than to the table: whoever tasted a green lot at 80 deg C with little leaf does not
want to read how to brew it at 100 with much, though the strength could be reached so.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

from tastings.maths.evidence import COOLEST_C, RATIO_RANGE, Followed
from tastings.maths.pots import SMALL_POT, Pot, leaf_range_g, small_pot_ml

LEAF_STEP_G = 0.5


@dataclass(frozen=True, slots=True)
class Custom:
    """What was usual in the sessions of one lot.

    Parameters
    ----------
    kettle_c : float
        Median over sessions of each one's median. [deg C, whole]
    leaf_g_per_ml : float
        Median leaf to vessel. [g/ml]
    rinsed : bool
        Whether a rinse is written down in more than half of them.
    """

    kettle_c: float
    leaf_g_per_ml: float
    rinsed: bool

    @classmethod
    def of(cls, followed: Sequence[Followed]) -> "Custom | None":
        """Look at the usable sessions of a lot; None without one."""
        heats = [median(pour.kettle_c for pour in one.brew.pours) for one in followed if one.brew.pours]
        if not heats:
            return None
        return cls(
            kettle_c=float(round(median(heats))),
            leaf_g_per_ml=median(one.brew.leaf_g / one.brew.vessel_ml for one in followed),
            rinsed=sum(any(pour.number == 0 for pour in one.brew.pours) for one in followed) * 2 > len(followed),
        )

    def filled(self, pot: Pot) -> Pot:
        """Return the pot with heat and, for a small pot, leaf as they were usual where nothing was said of them.

        Examples
        --------
        >>> Custom(kettle_c=82.0, leaf_g_per_ml=0.036, rinsed=False).filled(Pot(vessel_ml=150.0)).leaf_g
        5.5
        """
        kettle_c = max(self.kettle_c, COOLEST_C) if pot.kettle_c is None else pot.kettle_c
        leaf_g = pot.leaf_g
        if leaf_g is None and pot.style == SMALL_POT:
            vessel_ml = small_pot_ml(pot)
            low_g, high_g = leaf_range_g(vessel_ml=vessel_ml, ratio=RATIO_RANGE)
            steps = max(round(self.leaf_g_per_ml * vessel_ml / LEAF_STEP_G), 1)
            leaf_g = min(max(steps * LEAF_STEP_G, low_g), high_g)
        return replace(pot, kettle_c=kettle_c, leaf_g=leaf_g)
