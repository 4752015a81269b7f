"""Why the ratings of a session or an infusion are not used, in words."""

from collections.abc import Mapping

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from tastings.maths.curve.evidence import RATIO_RANGE, LeftOut, Reason
from tastings.wording.labels import descriptor_in_sentence
from tastings.wording.numbers import number

_SENTENCES: Mapping[Reason, str] = {
    "vessel_volume": gettext_noop("a vessel of %(vessel_ml)s ml is outside %(low_ml)s to %(high_ml)s ml"),
    "leaf_ratio": gettext_noop(
        "%(leaf_g)s g in %(vessel_ml)s ml is %(ratio)s times the even brew's leaf; only %(low)s to %(high)s"
        " times can be compared"
    ),
    "no_infusion": gettext_noop("no infusion was recorded"),
    "not_rated": gettext_noop("no infusion was rated"),
    "none_usable": gettext_noop("none of its tasted infusions can be used"),
    "recorded_twice": gettext_noop("recorded twice; the record with more ratings is used"),
    "beyond_last": gettext_noop("beyond infusion %(last)s"),
    "gap": gettext_noop("infusions %(first)s to %(last)s were not recorded: the leaf's state is unknown"),
    "filled_in": gettext_noop("not recorded; taken to be poured like its neighbours"),
    "not_tasted": gettext_noop("marked as not tasted"),
    "too_cool": gettext_noop("water of %(kettle_c)s °C is below %(coolest_c)s °C, too cool for the extraction model"),
    "too_long": gettext_noop(
        "a contact of %(contact_s)s s is longer than %(longest_s)s s, too long for the extraction model"
    ),
    "not_steeped": gettext_noop("the leaf was not steeped"),
    "water_ratio": gettext_noop(
        "%(water_ml)s ml of water on %(leaf_g)s g of leaf cannot be compared with the even brew"
    ),
    "outlier": gettext_noop(
        "its ratings of %(descriptor)s are nothing like those of the other sessions; its curve does without"
    ),
    "before_roast": gettext_noop("tasted before the roast"),
}


def left_out_reason(item: LeftOut) -> str:
    """Say why the ratings of a session or an infusion are not used."""
    return _(_SENTENCES[item.reason]) % _values(item)


def _values(item: LeftOut) -> dict[str, str]:
    """Return the numbers and the descriptor of the sentence."""
    match item.reason:
        case "leaf_ratio":
            low, high = RATIO_RANGE
            numbers = {**item.values, "ratio": float(f"{item.values['ratio']:.2g}"), "low": low, "high": high}
        case "too_long":
            return {name: f"{value:.0f}" for name, value in item.values.items()}
        case "outlier":
            return {"descriptor": descriptor_in_sentence(item.descriptor or "")}
        case _:
            numbers = item.values
    return {name: number(value) for name, value in numbers.items()}
