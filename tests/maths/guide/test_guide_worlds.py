"""Cups made by the guide in simulated lots that it does not assume (``docs/guide.md`` has the whole table)."""

import numpy as np
import pytest

from benchmarks.guide_worlds import FULL, one_lot
from tastings.maths.brewing.even_brew import EVEN_INFUSIONS


def rms(parts):
    return float(np.sqrt(np.mean(np.concatenate(parts) ** 2)))


@pytest.mark.parametrize("power", [False, True], ids=["saturating", "power"])
@pytest.mark.parametrize("sessions", [3, 8])
def test_cups_by_the_guide_hold_within_twelve_per_cent_where_it_is_sure(power, sessions):
    lots = [
        one_lot(power=power, sessions=sessions, rng=np.random.default_rng([37, power, sessions, lot]))
        for lot in range(32)
    ]
    guided, fixed = ([getattr(one, way)[: one.sure] for one in lots] for way in ("guided", "fixed"))
    first_cups = sum(min(one.guided.size, EVEN_INFUSIONS) for one in lots)  # later ones are guesses for most leaf
    assert sum(one.size for one in guided) > 0.6 * first_cups
    assert rms(guided) < (0.12 if sessions == 3 else 0.1)
    assert rms(fixed) > 3 * rms(guided)
    # Sure or not, cups up to the twelfth; later ones would hide whether these got worse.
    assert rms([one.guided[:EVEN_INFUSIONS] for one in lots]) < (0.16 if sessions == 3 else 0.13)
    # The last cup that is called full is so, as often as the guide's own leaf says.
    last = [(one.full[-1], one.guided_number[-1] >= FULL - 1) for one in lots if one.guided.size]
    stated, full = np.mean(last, axis=0)
    assert abs(stated - full) < 0.15
