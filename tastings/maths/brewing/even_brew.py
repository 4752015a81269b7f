"""The even brew: the fixed brew to which a lot's sessions are evened out, so that lots can be compared.

It depends on the kind of tea, so that a lot is evened out to a brew near those that suit it. Leaf is weighed against
a covered bowl of 110 ml; every vessel is porcelain and warmed.

==============================  ===========================  ==========================================================
kinds                           brew                         source
==============================  ===========================  ==========================================================
oolong, dark                    5 g, 100 deg C, rinse 10 s,  leaf to water and boiling water: GB/T 23776, covered-bowl
                                contact 20 s                 method; rinse and short contacts: common practice, no
                                                             source
black, herbal                   the same, no rinse           common practice, no source
green, yellow                   4 g, 80 deg C, no rinse,     common practice, no source; the evaluation standards
                                contact 30 s                 (ISO 3103, GB/T 23776) pour boiling water on 2 g per 100 ml
                                                             once, for minutes, and say nothing of repeated infusions
scented                         4 g, 85 deg C, no rinse,     common practice, no source: mostly a green base
                                contact 30 s
white                           5 g, 90 deg C, no rinse,     common practice, no source
                                contact 30 s
==============================  ===========================  ==========================================================
"""

from dataclasses import dataclass, replace
from functools import cache

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew, Pour
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.brewing.heat import steeping_of

EVEN_VESSEL_ML = 110.0
EVEN_INFUSIONS = 12
"""Infusions of every curve; it goes on as far as somebody has tasted, up to :data:`MOST_INFUSIONS`."""
MOST_INFUSIONS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class EvenBrew:
    """One even brew."""

    # leaf_g, vessel_ml, kettle_c: leaf, bowl and water [g, ml, deg C]
    leaf_g: float
    kettle_c: float
    contact_s: float  # contact of each infusion [s]
    rinse_s: float | None = None  # contact of the rinse; None without one [s]
    vessel_ml: float = EVEN_VESSEL_ML

    def brew(self, *, infusions: int = EVEN_INFUSIONS) -> Brew:
        """Return it as a session of so many infusions."""
        contacts = [(number, self.contact_s) for number in range(1, infusions + 1)]
        if self.rinse_s is not None:
            contacts.insert(0, (0, self.rinse_s))
        return Brew(
            session="even brew",
            taster="",
            shop=None,
            leaf_g=self.leaf_g,
            vessel_ml=self.vessel_ml,
            vessel_material="porcelain",
            vessel_g=None,
            warmed=True,
            room_c=None,
            altitude_m=None,
            ending=None,
            more_low=None,
            more_high=None,
            pours=tuple(
                Pour(
                    number=number,
                    steep_s=contact_s,
                    pour_s=0.0,
                    kettle_c=self.kettle_c,
                    water_ml=self.vessel_ml,
                    rest_s=None,
                    ratings={},
                    noted=frozenset(),
                    tasted=number > 0,
                )
                for number, contact_s in contacts
            ),
        )

    def cups(self, grid: Grid, *, infusions: int = EVEN_INFUSIONS) -> FloatArray:
        """Return its cups at every node, float64[n_nodes, infusions], the rinse left out."""
        brew = self.brew(infusions=infusions)
        return cup_strength(steeping_of(brew, brew.pours), grid=grid)[:, -infusions:]


BOILING = EvenBrew(leaf_g=5.0, kettle_c=100.0, contact_s=20.0, rinse_s=10.0)
_UNRINSED = replace(BOILING, rinse_s=None)
_BY_KIND = {
    "black": _UNRINSED,
    "herbal": _UNRINSED,
    "green": EvenBrew(leaf_g=4.0, kettle_c=80.0, contact_s=30.0),
    "yellow": EvenBrew(leaf_g=4.0, kettle_c=80.0, contact_s=30.0),
    "scented": EvenBrew(leaf_g=4.0, kettle_c=85.0, contact_s=30.0),
    "white": EvenBrew(leaf_g=5.0, kettle_c=90.0, contact_s=30.0),
}


def even_brew_of(kind: str) -> EvenBrew:
    """Return the even brew of a kind of tea; that of oolong for a kind without its own.

    Examples
    --------
    >>> even_brew_of("green").kettle_c, even_brew_of("oolong").kettle_c
    (80.0, 100.0)
    """
    return _BY_KIND.get(kind, BOILING)


@cache
def even_brew(*, infusions: int = EVEN_INFUSIONS) -> Brew:
    """Return the even brew of oolong and dark tea as a session."""
    return BOILING.brew(infusions=infusions)
