"""What fields of answers mean that carry no help text of their own.

Those of figures that an answer gives as the maths has them, and those whose name means the same in every answer.
"""

from collections.abc import Mapping
from dataclasses import fields

from tastings.maths.comparison.side_by_side import Difference
from tastings.maths.curve.development import CurvePoint, DescriptorCurve
from tastings.maths.curve.layers import Layer
from tastings.maths.curve.profile import Profile
from tastings.maths.flights.ranking import FriedmanTest
from tastings.maths.flights.result import Spreads
from tastings.maths.flights.standings import Estimate
from tastings.maths.forecast.vessel import CupForecast, CupStrength
from tastings.maths.guide.answer import GuidedPour
from tastings.maths.guide.guests import Cost, Serving
from tastings.maths.roast.fading import Trend

COMMON: Mapping[str, str] = {
    "alpha": "accepted probability of a false alarm",
    "by": "login of who made it",
    "cautions": "what to be careful about, in sentences",
    "code": "three digits that stand for the lot",
    "computed_at": "when the figures were computed; null while they never were",
    "created_at": "when it was made, by the server's clock",
    "currency": "ISO 4217 code; null without a price",
    "descriptor": "key of the descriptor",
    "expected_order": "candidates, the best first, as foreseen",
    "first_infusions": "so many first infusions of the even brew are averaged",
    "high": "upper end of the central 80 %",
    "infusion": "number of the infusion, from 1",
    "kendall_w": "concordance of the tasters (Kendall's W), 0 to 1; null for too few tasters or lots",
    "level": "probability between low and high",
    "lot": "id of the lot",
    "low": "lower end of the central 80 %",
    "pourers": "logins that pour and may know the codes",
    "protocol": "how the cups are brewed",
    "reference": "a known lot, poured once in every sitting; null for none",
    "remarks": "anything else, in words",
    "reveal_reason": "why it was revealed before every cup was tasted",
    "revealed_at": "when codes met names; null before",
    "revealed_by": "login of who revealed it; null before",
    "sentence": "the answer in words",
    "session": "id of the session",
    "shared_tasters": "how many tasted both",
    "sitting": "which sitting of the taster, from 1",
    "stale": "true while a change is not in the figures yet",
    "taster": "login of the taster",
}
"""By the name of the field."""
FIGURES: Mapping[type, Mapping[str, str]] = {
    Cost: {
        "per_cup": "in the currency; null while no cup is worth drinking",
        "per_litre": "in the currency; null while no cup is worth drinking",
        "per_pot": "in the currency",
    },
    CupForecast: {
        "first": "strength in the first vessel",
        "other": "strength in the other vessel",
        "stronger": "probability that the other vessel's cup is stronger by more than `noticeable`",
        "weaker": "probability that it is weaker by more than `noticeable`",
    },
    CupStrength: {"mean": "mean strength, points, 0 to 10"},
    CurvePoint: {
        "mean": "mean cup of the even brew, points, 0 to 10",
        "observed": "mean of the ratings of this infusion, each brought to the even brew, points; null without one",
        "n": "ratings of this infusion",
    },
    DescriptorCurve: {"points": "one for each infusion of the even brew", "profile": "how the curve runs"},
    Difference: {
        "mean": "first less second, points; of liking over the cups worth drinking",
        "probability_more": "that the first has more",
    },
    Estimate: {"mean": "mean of what is possible"},
    FriedmanTest: {
        "name": "`Friedman` for a full table, `Durbin` for balanced incomplete blocks, else `Skillings-Mack`",
        "statistic": "chi-squared, corrected for ties",
        "degrees_of_freedom": "of the chi-squared distribution",
        "p": "probability of so much agreement by chance",
        "tasters": "how many the table holds",
        "lots": "how many the table holds",
    },
    GuidedPour: {
        "number": "of the infusion, from 1",
        "steep_s": "from filled to the first pour, s",
        "pour_s": "pouring, s",
        "contact_s": "the steep and half the pour, s",
        "expected_strength": "mean cup, points, 0 to 10; null while nobody has rated the lot's strength",
        "likely_miss_pct": "by how much the cup is likely to miss its target, root mean square, % of the target",
        "weaker_steep_s": "steep for a cup one point weaker, s; null when none of 5 to 300 s gives it",
        "stronger_steep_s": "steep for a cup one point stronger, s; null when none of 5 to 300 s gives it",
    },
    Layer: {
        "leading": "up to three descriptors, the strongest first, each at least 1 point and 0.6 of the strongest",
        "new": "descriptors that reach 1 point here and did not in the infusion before",
        "gone": "descriptors that fall below 1 point here",
        "richness": "effective number of descriptors that reach 1 point; 0 for none",
    },
    Profile: {
        "label": "the label of `probability` that is likely enough, else `undecided`",
        "probability": "of each label; they sum to 1",
        "peak_infusion": "where the curve is highest, from 1",
        "rise": "the peak over the first infusion, as a ratio, at least 1",
        "half_strength_infusion": "the first below half of the peak; null when it comes after the last of the curve",
    },
    Serving: {
        "guests": "who is served",
        "cup_ml": "what each gets of each round, ml",
        "pots": "portions of leaf, brewed side by side or one after the other",
        "rounds": "infusions worth drinking; null while unknown",
        "leaf_g": "leaf for all pots, g",
        "round_ml": "water of one round in all pots, ml",
        "rinse_ml": "water of the rinse, ml",
        "warming_ml": "water to warm the pots, ml",
        "total_ml": "water to heat for everything, ml; null while the rounds are unknown",
    },
    Spreads: {
        "lots_sd": "between lots, points",
        "shift_sd": "between tasters' levels, points; null for one taster",
        "gain_sd": "between tasters' gains; null for one taster",
        "sitting_sd": "between sittings of one taster, points; null when nobody sat twice",
        "taste_sd": "of a taster's own taste for a lot, points; null unless one taster tasted a lot twice",
        "noise_sd": "what is left in a usual taster's score, points",
    },
    Trend: {
        "per_30_days": "change in 30 days, points",
        "probability_rising": "that it rises",
    },
}
"""By the class of the figures and the name of the field."""


def meaning_of(answer: type, name: str) -> str:
    """Return what a field of a dataclass means, empty when nothing says so."""
    [field] = (field for field in fields(answer) if field.name == name)
    own = field.metadata.get("serializer_kwargs", {}).get("help_text")
    return own or FIGURES.get(answer, {}).get(name) or COMMON.get(name, "")
