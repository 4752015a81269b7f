"""What to be careful about: scalding water, very hot drinks, caffeine.

Sources: very hot drinks, IARC Monograph 116 (above 65 deg C); caffeine, EFSA Journal 2015;13(5):4102 (adults: 200 mg
at a time, 400 mg a day; 200 mg a day in pregnancy); how much a kind of leaf holds, `tastings.maths.guide.guests`. No
statement here is about a benefit.
"""

from django.utils.translation import gettext as _

from tastings.maths.guide.guests import caffeine_mg_per_g
from tastings.maths.guide.protocols import HERBAL
from tastings.wording.numbers import number


def scalding() -> str:
    """Warn of hot water."""
    return _("Hot water scalds at once; keep kettle and pot away from children and pour away from the hand.")


def hot_drink() -> str:
    """Warn of drinking too hot."""
    return _(
        "Let the cup cool below 65 °C before drinking: drinking hotter than that is classed as probably carcinogenic"
        " (IARC Monograph 116)."
    )


def contents(kind: str) -> str:
    """Warn of what leaf of a kind contains, an empty kind being an unknown one."""
    return herbal_lot() if kind == HERBAL else caffeine_in_leaf(kind)


def caffeine_in_leaf(kind: str) -> str:
    """Say how much caffeine leaf of a kind of tea holds, and what is advised."""
    low_mg, high_mg = caffeine_mg_per_g(kind)
    return _(
        "A gram of such leaf holds about %(low_mg)s to %(high_mg)s mg of caffeine, of which the cups take a part. EFSA"
        " (2015) names 200 mg at a time and 400 mg a day for healthy adults, 200 mg a day in pregnancy and while"
        " nursing; ask a doctor, and follow local guidance where it differs."
    ) % {"low_mg": f"{low_mg:.0f}", "high_mg": f"{high_mg:.0f}"}


def differing_waters(low_mg_l: float, high_mg_l: float) -> str:
    """Warn that sessions of a lot were brewed with very different waters."""
    return _(
        "Its sessions were brewed with very different waters, %(low)s to %(high)s mg of dissolved solids in a litre."
        " The figures do not allow for that; compare the sessions by water, or taste again with one."
    ) % {"low": number(round(low_mg_l)), "high": number(round(high_mg_l))}


def herbal_lot() -> str:
    """Warn that a herbal lot's contents are not known."""
    return _(
        "What a herbal lot holds, caffeine and allergens among it, is not known here: ask its supplier, and a doctor or"
        " pharmacist where it matters."
    )


def long_mug() -> str:
    """Warn of leaf left in a mug, and of a mug that stays hot."""
    return _(
        "Lift the leaf out when the time is up: leaf left in the mug steeps on and turns bitter. A big mug stays hot"
        " for long; let it cool below 65 °C before drinking."
    )
