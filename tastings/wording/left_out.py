"""Why the ratings of a session or an infusion are not used, in words."""

from django.utils.translation import gettext as _

from tastings.maths.curve.evidence import RATIO_RANGE, LeftOut
from tastings.wording.labels import descriptor_in_sentence
from tastings.wording.numbers import number


def left_out_reason(found: LeftOut) -> str:  # noqa: PLR0911 - one sentence for each reason
    """Say why the ratings of a session or an infusion are not used."""
    values: dict[str, object] = {name: number(value) for name, value in found.values.items()}
    match found.reason:
        case "vessel_volume":
            return _("a vessel of %(vessel_ml)s ml is outside %(low_ml)s to %(high_ml)s ml") % values
        case "leaf_ratio":
            low, high = (number(one) for one in RATIO_RANGE)
            return _(
                "%(leaf_g)s g in %(vessel_ml)s ml is %(ratio)s times the even brew's leaf; only %(low)s to %(high)s"
                " times can be compared"
            ) % {**values, "ratio": number(float(f"{found.values['ratio']:.2g}")), "low": low, "high": high}
        case "no_infusion":
            return _("no infusion was recorded")
        case "not_rated":
            return _("no infusion was rated")
        case "none_usable":
            return _("none of its tasted infusions can be used")
        case "recorded_twice":
            return _("recorded twice; the record with more ratings is used")
        case "beyond_last":
            return _("beyond infusion %(last)s") % values
        case "gap":
            return _("infusions %(first)s to %(last)s were not recorded: the leaf's state is unknown") % values
        case "filled_in":
            return _("not recorded; taken to be poured like its neighbours")
        case "not_tasted":
            return _("marked as not tasted")
        case "too_cool":
            return _("water of %(kettle_c)s °C is below %(coolest_c)s °C, too cool for the extraction model") % values
        case "too_long":
            return _(
                "a contact of %(contact_s)s s is longer than %(longest_s)s s, too long for the extraction model"
            ) % {name: f"{value:.0f}" for name, value in found.values.items()}
        case "not_steeped":
            return _("the leaf was not steeped")
        case "water_ratio":
            return _("%(water_ml)s ml of water on %(leaf_g)s g of leaf cannot be compared with the even brew") % values
        case "outlier":
            return _(
                "its ratings of %(descriptor)s are nothing like those of the other sessions; its curve does without"
            ) % {"descriptor": descriptor_in_sentence(found.descriptor or "")}
        case "before_roast":
            return _("tasted before the roast")
