"""How a lot's tasters brewed it: heat, leaf to water and rinse, for a guide request that names none.

Defaults come from how the lot was brewed: whoever tasted a green lot at 80 deg C with little leaf does not want a guide
for 100 deg C and much leaf, though it could reach the same strength. For a lot that nobody has brewed they are those of
the even brew of its kind.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

from tastings.maths.brewing.brews import Pour
from tastings.maths.brewing.even_brew import EvenBrew
from tastings.maths.brewing.heat import boiling_point_c
from tastings.maths.curve.evidence import COOLEST_C, RATIO_RANGE, PreparedSession
from tastings.maths.guide.pots import SMALL_POT, PotRequest, leaf_range_g, small_pot_ml

LEAF_STEP_G, SMALL_STEP_G = 0.5, 0.1
SMALL_ML = 60.0  # below this half a gram is too much of a step


@dataclass(frozen=True, slots=True)
class UsualBrew:
    """What was usual in the sessions of one lot."""

    kettle_c: float  # median over sessions of each one's median, as hot as water can be at their heights [deg C, whole]
    leaf_g_per_ml: float  # leaf to the water poured on it; median over sessions of each one's median [g/ml]
    rinsed: bool  # whether a rinse is written down in more than half of them

    @classmethod
    def of(cls, followed: Sequence[PreparedSession]) -> "UsualBrew | None":
        """Look at the usable sessions of a lot; None without one."""
        brewed = [(s, pours) for s in followed if (pours := [p for p in s.brew.pours if p.number > 0])]
        if not brewed:
            return None
        return cls(
            kettle_c=float(round(median(median(_heat_c(s, pour) for pour in pours) for s, pours in brewed))),
            leaf_g_per_ml=median(
                s.brew.leaf_g / median(pour.water_ml or s.brew.vessel_ml for pour in pours) for s, pours in brewed
            ),
            rinsed=sum(any(pour.number == 0 for pour in s.brew.pours) for s, _ in brewed) * 2 > len(brewed),
        )

    @classmethod
    def of_even_brew(cls, even: EvenBrew) -> "UsualBrew":
        """Take the even brew of a kind of tea."""
        leaf_g_per_ml = even.leaf_g / even.vessel_ml
        return cls(kettle_c=even.kettle_c, leaf_g_per_ml=leaf_g_per_ml, rinsed=even.rinse_s is not None)

    def filled(self, pot: PotRequest) -> PotRequest:
        """Return the pot with heat and, for a small pot, leaf as usual for the lot where the request names none.

        Examples
        --------
        >>> UsualBrew(kettle_c=82.0, leaf_g_per_ml=0.036, rinsed=False).filled(PotRequest(vessel_ml=150.0)).leaf_g
        5.5
        """
        kettle_c = max(self.kettle_c, COOLEST_C) if pot.kettle_c is None else pot.kettle_c
        leaf_g = pot.leaf_g
        if leaf_g is None and pot.style == SMALL_POT:
            vessel_ml = small_pot_ml(pot)
            low_g, high_g = leaf_range_g(vessel_ml=vessel_ml, ratio=RATIO_RANGE)
            step_g = LEAF_STEP_G if vessel_ml >= SMALL_ML else SMALL_STEP_G
            leaf_g = min(max(round(round(self.leaf_g_per_ml * vessel_ml / step_g) * step_g, 1), low_g), high_g)
        return replace(pot, kettle_c=kettle_c, leaf_g=leaf_g)


def _heat_c(session: PreparedSession, pour: Pour) -> float:
    return min(pour.kettle_c, boiling_point_c(session.brew.altitude_m or 0.0))
