"""Details of a flight's answer: spreads, order effects, tasters, tests, value for money."""

from collections.abc import Callable, Sequence
from typing import Literal

from django.utils.translation import gettext as _

from tastings.maths.flights.standings import Estimate
from tastings.wording.counts import counted
from tastings.wording.numbers import listed, money, number, one_decimal, percent, two_decimals


def measure_title(measure: Literal["liking", "weighted"], *, scale: float) -> str:
    """Return a measure's heading."""
    if measure == "liking":
        return _("Liking, out of %(scale)s") % {"scale": number(scale)}
    return _("Weighted score, out of %(scale)s") % {"scale": number(scale)}


def left_out(reason: Literal["private", "no_liking", "factors_missing", "same_cup"], *, session: str) -> str:
    """Say why a session does not count."""
    why = {
        "private": _("kept private by its taster"),
        "no_liking": _("no liking was noted"),
        "factors_missing": _("not every factor that carries weight was judged"),
        "same_cup": _("another session of the same cup counts"),
    }[reason]
    return _("Session %(session)s: %(why)s") % {"session": session, "why": why}


def no_figures(*, failure: str | None, stale: bool) -> str:
    """Say why there are no figures."""
    if failure:
        return _("There is no answer: %(failure)s") % {"failure": failure}
    if stale:
        return _("The answer is being worked out; look again in a moment.")
    return _("Nothing was noted that an answer could be made of.")


LEAST_LOSS = 0.1
"""The step of the scale: a smaller loss is not written as a number. [points]"""


def best_value(lots: Sequence[str]) -> str:
    """Say which lots no other beats on both mean and price; ``lots`` as :func:`lot_at_price` writes them."""
    if len(lots) == 1:
        return _("No other lot is both as good and as cheap as %(lot)s.") % {"lot": lots[0]}
    return _(
        "No cheaper lot scored better than these, from the cheapest to the best: %(lots)s. Each other lot costs as much"
        " as one of these, or more, and is no better."
    ) % {"lots": listed(lots)}


def better_costs_more() -> str:
    """Say that no lot is beaten on both mean and price."""
    return _("For the money none is beaten: each lot that is better also costs more.")


def lot_at_price(name: str, *, price: float, currency: str | None) -> str:
    """Write a lot with its price."""
    return _("%(lot)s (%(price)s a kg)") % {"lot": name, "price": money(price, currency)}


def expected_loss(points: float) -> str:
    """Say what choosing the leader now gives away."""
    if points < LEAST_LOSS:
        return _("Choosing the leader now is expected to give away less than 0.1 points against the best lot.")
    return _("Choosing the leader now is expected to give away %(points)s points against the best lot.") % {
        "points": one_decimal(points)
    }


def lot_spread(estimate: Estimate) -> str:
    """Say how much lots differ."""
    return _("Lots differ by %(points)s points (standard deviation).") % {"points": _interval(estimate, one_decimal)}


def noise(estimate: Estimate) -> str:
    """Say how large the noise is."""
    return _("What is left in a score besides: %(points)s points.") % {"points": _interval(estimate, one_decimal)}


def carry_over(estimate: Estimate) -> str:
    """Say how much of a cup shows in the next one."""
    return _(
        "Of the cup before, this share shows in the next (below 0: a good cup makes it look worse): %(share)s."
    ) % {"share": _interval(estimate, two_decimals)}


def position(estimate: Estimate) -> str:
    """Say how scores drift over a sitting."""
    return _("From each cup to the next in a sitting, points: %(points)s.") % {
        "points": _interval(estimate, two_decimals)
    }


def first_cup(estimate: Estimate) -> str:
    """Say what the first cup gets."""
    return _("The first cup of a sitting gets beside that, points: %(points)s.") % {
        "points": _interval(estimate, two_decimals)
    }


def repeatability(sd: float) -> str:
    """Say how well hidden duplicates agree."""
    return _("Hidden duplicates of the same lot differ by %(points)s points (standard deviation).") % {
        "points": one_decimal(sd)
    }


def taster(name: str | None, *, cups: int, shift: float, gain: float) -> str:
    """Say how a taster used the scale."""
    return _(
        "%(taster)s: %(cups)s; %(points)s points from the team's mean, shows %(gain)s\u00a0%% of a difference."
    ) % {
        "taster": name or _("A taster"),
        "cups": counted(cups, "cup"),
        "points": one_decimal(shift),
        "gain": f"{100 * gain:.0f}",
    }


def friedman(name: str, *, p: float) -> str:
    """Say how likely the ranks are if all lots are alike."""
    return _("If all lots were alike, their ranks would lie so far apart in %(p)s of flights (%(test)s).") % {
        "p": percent(p),
        "test": name,
    }


def kendall(w: float) -> str:
    """Say how alike tasters rank."""
    return _("Kendall's W of the tasters who had every lot: %(w)s (1: all rank alike).") % {"w": two_decimals(w)}


def least_difference(points: float, *, pairs: Sequence[tuple[str, str]], n_pairs: int) -> str:
    """Say how far two means must lie apart, and which of ``n_pairs`` pairs of lots do, the better first."""
    if not pairs:
        return _("Least significant difference of two means: %(points)s points. No two lots are told apart by it.") % {
            "points": one_decimal(points)
        }
    above = [_("%(better)s above %(worse)s") % {"better": better, "worse": worse} for better, worse in pairs]
    values = {"points": one_decimal(points), "pairs": "; ".join(above), "n": n_pairs - len(pairs)}
    if n_pairs > len(pairs):
        return (
            _("Least significant difference of two means: %(points)s points. Told apart: %(pairs)s; and %(n)s more.")
            % values
        )
    return _("Least significant difference of two means: %(points)s points. Told apart: %(pairs)s.") % values


def expected_order(p: float) -> str:
    """Say how likely so good an agreement with the expected order is by chance."""
    return _("The order expected beforehand would come out so well by chance in %(p)s.") % {"p": percent(p)}


def _interval(estimate: Estimate, write: Callable[[float], str]) -> str:
    return _("%(mean)s (%(low)s to %(high)s)") % {
        "mean": write(estimate.mean),
        "low": write(estimate.low),
        "high": write(estimate.high),
    }
