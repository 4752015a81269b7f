"""From a flight's stored answer to what its page shows: a sentence first, then a picture, then the numbers."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.safestring import SafeString

from tastings.reports.standings import standings_chart
from tastings.wording.counts import counted
from tastings.wording.numbers import listed, one_decimal, percent

WIDE, NARROW = 720, 350
TITLES = {"liking": "Liking", "weighted": "Weighted score"}
REASONS = {
    "private": "kept private by its taster",
    "after_the_reveal": "begun after the reveal",
    "no_liking": "no liking was noted",
    "factors_missing": "not every factor that carries weight was judged",
}


def answer_context(
    answer: Mapping[str, Any] | None, *, lots: Mapping[str, str], people: Mapping[str, str]
) -> dict[str, Any]:
    """Build what the page shows of an answer; ``lots`` and ``people`` are names by id."""
    if answer is None:
        return {"measures": [], "left_out": [], "answer_words": ""}
    if answer["failure"]:
        words = f"There is no answer: {answer['failure']}"
    elif answer["stale"]:
        words = "The answer is being worked out; look again in a moment."
    else:
        words = "Nothing was noted that an answer could be made of."
    return {
        "measures": [_measure(one, lots=lots, people=people, stale=answer["stale"]) for one in answer["measures"]],
        "left_out": [
            f"Session {one['session'][:8]}: {REASONS.get(one['reason'], one['reason'])}" for one in answer["left_out"]
        ],
        "answer_words": words,
    }


def _measure(
    measure: Mapping[str, Any], *, lots: Mapping[str, str], people: Mapping[str, str], stale: bool
) -> dict[str, Any]:
    worth = {one["lot"]: one for one in measure["worth"]}
    return {
        "title": f"{TITLES[measure['measure']]}, out of {measure['scale']:g}",
        "sentence": measure["sentence"],
        "stale": stale,
        "chart": {
            "wide": SafeString(standings_chart(measure, names=lots, width=WIDE)),
            "narrow": SafeString(standings_chart(measure, names=lots, width=NARROW)),
        },
        "lines": [line for line in (_value(measure, lots), _settled(measure)) if line],
        "rows": [_row(one, worth.get(one["lot"], {}), lots, measure["currency"]) for one in measure["standings"]]
        + [_row(one, {}, lots, None, control=True) for one in measure["controls"]],
        "details": list(_details(measure, lots=lots, people=people)),
    }


def _row(
    one: Mapping[str, Any],
    worth: Mapping[str, Any],
    lots: Mapping[str, str],
    currency: str | None,
    *,
    control: bool = False,
) -> dict[str, Any]:
    price = worth.get("price")
    name = lots.get(one["lot"], one["lot"])
    return {
        "lot": one["lot"],
        "name": f"{name} (reference)" if control else name,
        "mean": one_decimal(one["mean"]),
        "band": f"{one_decimal(one['low'])} to {one_decimal(one['high'])}",
        "p_best": "" if control else percent(one["p_best"]),
        "p_top_three": "" if control else percent(one["p_top_three"]),
        "cups": one["cups"],
        "price": "" if price is None else f"{price:.2f} {currency}",
        "unbeaten": bool(worth.get("on_frontier")),
    }


def _value(measure: Mapping[str, Any], lots: Mapping[str, str]) -> str:
    """Say which lots no other beats on both mean and price."""
    unbeaten = [one for one in measure["worth"] if one["on_frontier"]]
    if not unbeaten:
        return ""
    told = [
        f"{lots.get(one['lot'], one['lot'])} ({one['price']:.2f} {measure['currency']} a kg)"
        for one in sorted(unbeaten, key=lambda one: one["price"])
    ]
    if len(told) == 1:
        return f"No other lot is both as good and as cheap as {told[0]}."
    return f"For the money: {listed(told)}. Each other lot costs as much as one of these, or more, and is no better."


def _settled(measure: Mapping[str, Any]) -> str:
    loss = measure["expected_loss"]
    if loss is None or not measure["standings"]:
        return ""
    return f"Choosing the leader now is expected to give away {one_decimal(loss)} points against the best lot."


def _details(measure: Mapping[str, Any], *, lots: Mapping[str, str], people: Mapping[str, str]) -> Sequence[str]:
    lines = []
    spreads = measure["spreads"]
    if spreads:
        lines.append(f"Lots differ by {_figure(spreads['lots_sd'])} points (standard deviation).")
        lines.append(f"What is left in a score besides: {_figure(spreads['noise_sd'])} points.")
    for name, words in (
        ("carry_over", "Of the cup before, this share shows in the next (below 0: a good cup makes it look worse)"),
        ("position", "From each cup to the next in a sitting, points"),
        ("first_cup", "The first cup of a sitting gets beside that, points"),
    ):
        if measure[name]:
            lines.append(f"{words}: {_figure(measure[name], decimals=2)}.")
    repeat = measure["repeatability_sd"]
    if repeat is not None:
        lines.append(f"Hidden duplicates of the same lot differ by {one_decimal(repeat)} points (standard deviation).")
    lines += [
        f"{people.get(one['taster'], 'A taster')}: {counted(one['cups'], 'cup')}; "
        f"{one_decimal(one['shift']['mean'])} points from the team's mean, "
        f"shows {100 * one['gain']['mean']:.0f}\u00a0% of a difference."
        for one in measure["tasters"]
    ]
    lines += _tests(measure, lots)
    return lines


def _tests(measure: Mapping[str, Any], lots: Mapping[str, str]) -> list[str]:
    lines = []
    rank = measure["friedman"]
    if rank:
        p = percent(rank["p"])
        lines.append(f"If all lots were alike, tasters would rank them so unlike in {p} of flights ({rank['name']}).")
    if measure["kendall_w"] is not None:
        lines.append(f"Kendall's W of the tasters who had every lot: {measure['kendall_w']:.2f} (1: all rank alike).")
    least = measure["least_significant_difference"]
    if least is not None:
        told = [f"{lots.get(a, a)} above {lots.get(b, b)}" for a, b in measure["differ"][:12]]
        more = f" Told apart: {'; '.join(told)}." if told else " No two lots are told apart by it."
        lines.append(f"Least significant difference of two means: {one_decimal(least)} points.{more}")
    if measure["page"]:
        lines.append(
            f"The order expected beforehand would come out so well by chance in {percent(measure['page']['p'])}."
        )
    return lines


def _figure(figure: Mapping[str, float] | None, *, decimals: int = 1) -> str:
    if figure is None:
        return "cannot tell"
    mean, low, high = (f"{figure[name]:.{decimals}f}".replace("-", "\u2212") for name in ("mean", "low", "high"))
    return f"{mean} ({low} to {high})"


def chosen_rows(decision: Mapping[str, Any] | None, *, lots: Mapping[str, str]) -> list[dict[str, str]]:
    """Return what was chosen, with names and amounts."""
    rows = []
    for one in (decision or {}).get("chosen", ()):
        grams = one.get("quantity_g")
        rows.append(
            {
                "bought": one["bought"],
                "name": lots.get(one["lot"], one["lot"]),
                "amount": "" if grams is None else f"{grams / 1000:g} kg" if grams >= 1000 else f"{grams:g} g",
            }
        )
    return rows
