"""How well the tasters agree on strength, as sentences of the report. Pure."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from statistics import fmean

from django.utils.translation import gettext as _

from tastings.maths.curve.development import CurvePoint
from tastings.maths.curve.tasted import TastedPoint
from tastings.maths.panel.panel import PanelAgreement
from tastings.wording.counts import counted
from tastings.wording.numbers import isolated, listed, one_decimal, signed, two_decimals


def agreement_section(
    tasted: Sequence[TastedPoint],
    points: Sequence[CurvePoint],
    *,
    people: Mapping[str, str],
    panel: PanelAgreement | None,
) -> list[str]:
    """Say how well the tasters agree on strength: on this lot, and by ``panel`` over the team's lots.

    ``tasted`` are the lot's ratings, brought to the even brew on the panel's scale; ``people`` are names by taster id.
    """
    means = {point.infusion: point.mean for point in points}
    residuals: dict[str, list[float]] = defaultdict(list)
    for rating in tasted:
        if rating.descriptor == "strength" and rating.infusion in means:
            residuals[rating.taster].append(rating.adjusted - means[rating.infusion])
    return [*_on_this_lot(residuals, people=people), *_over_lots(panel, is_rated=bool(residuals))]


def _on_this_lot(residuals: Mapping[str, Sequence[float]], *, people: Mapping[str, str]) -> list[str]:
    if not residuals:
        return []
    every = [value for values in residuals.values() for value in values]
    sentences = [
        _(
            "On this lot, %(ratings)s of %(tasters)s, allowing for how they brewed, lie %(points)s points from the"
            " curve"
            " on average."
        )
        % {
            "ratings": counted(len(every), "strength rating"),
            "tasters": counted(len(residuals), "taster"),
            "points": one_decimal(fmean(map(abs, every))),
        }
    ]
    if len(residuals) > 1:
        each = sorted((people.get(taster, taster), fmean(values)) for taster, values in residuals.items())
        names = listed(f"{isolated(name)} {signed(mean)}" for name, mean in each)
        sentences.append(_("On average above or below it: %(names)s points.") % {"names": names})
    return sentences


def _over_lots(panel: PanelAgreement | None, *, is_rated: bool) -> list[str]:
    if panel is None or panel.single is None or panel.mean is None:
        if not is_rated:
            return []
        return [_("How the tasters agree over several lots is not known yet: too few lots were rated by all of them.")]
    sentences = [
        _(
            "Over %(lots)s that %(tasters)s all rated, the share of the differences in strength that comes from the"
            " teas is %(single)s in one taster's rating and %(mean)s in the mean of all (intraclass correlation, 0 to"
            " 1)."
        )
        % {
            "lots": counted(panel.lots, "lot"),
            "tasters": counted(len(panel.tasters), "taster"),
            "single": two_decimals(panel.single),
            "mean": two_decimals(panel.mean),
        }
    ]
    if panel.w is not None:
        sentences.append(
            _("How alike they order the lots: %(w)s (Kendall's W, 0 to 1).") % {"w": two_decimals(panel.w)}
        )
    return sentences
