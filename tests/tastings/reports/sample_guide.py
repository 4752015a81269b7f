"""A brew guide for a shop's usual pot, as the report and the card take it."""

from dataclasses import replace

import numpy as np

from tastings.maths.guide.answer import Guide, GuidedPour
from tastings.maths.guide.guests import Caffeine
from tastings.maths.guide.pots import Vessel
from tastings.maths.guide.remedies import Remedies, Remedy
from tastings.maths.guide.target import Target
from tastings.queries.guides import UsualPot, UsualPotGuide

POT = UsualPot(vessel_ml=110.0, vessel_material="unglazed_clay", pour_s=6, sessions=28, shop="Harbour shop")


def pour(number, steep_s, strength, low, high):
    return GuidedPour(number, steep_s, 6.0, steep_s + 3.0, strength, low, high)


GUIDE = UsualPotGuide(
    Guide(
        style="small_pot",
        vessel=Vessel(leaf_g=5.5, vessel_ml=110.0, kettle_c=99.0, vessel_material="unglazed_clay"),
        vessel_ml=110.0,
        rinse_s=10.0,
        infusions=(
            pour(1, 22.0, 6.04, 5.7, 6.46),
            pour(2, 95.0, 5.9, 5.6, 6.2),
            pour(3, 300.0, 2.1, 1.9, 2.4),
        ),
        last_at_target=None,
        last_sure=None,
        last_worthwhile=2,
        target=Target(6.0, "second_infusion", 5.6, 6.4, 0, 0, "too_few_cups", np.zeros(1)),
        change=Remedies(1, too_strong=Remedy(-4.0, None), too_thin=Remedy(5.0, None)),
        serving=None,
        caffeine=Caffeine(per_cup_mg=(2.0, 18.0), per_pot_mg=(62.0, 170.0), per_guest_mg=(62.0, 170.0)),
        cost=None,
        standard=None,
        notes=(),
        kind="oolong",
    ),
    POT,
)


def guide(**changed):
    """Return the guide with some of its figures changed."""
    return UsualPotGuide(replace(GUIDE.guide, **changed), POT)


def guide_in(**changed):
    """Return the guide for another usual pot."""
    return UsualPotGuide(GUIDE.guide, replace(POT, **changed))
