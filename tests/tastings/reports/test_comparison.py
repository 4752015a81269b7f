"""A comparison in words and in one drawing: nothing told by colour alone, nothing written that is not likely enough."""

from dataclasses import replace
from itertools import pairwise

import pytest
from django.template.loader import render_to_string

from tastings.maths.brewing.even_brew import even_brew_of
from tastings.maths.comparison.side_by_side import Comparison, Difference, Pair
from tastings.maths.curve.development import CurvePoint
from tastings.reports.comparison import (
    ComparedRow,
    comparison_page,
    lasting_sentence,
    liked_sentence,
    pair_row,
    size_words,
    stronger_sentence,
)
from tastings.reports.lot_list import lot_row
from tastings.reports.side_by_side import LETTERS, curves_chart
from tastings.wording.numbers import percent
from tests.tastings.reports import sample
from tests.tastings.reports.test_lot_list import bare
from tests.tastings.reports.test_page import HOSTILE, Outline, words_of

NAMES = ("Mist Terrace", HOSTILE, "Bare", "Four", "Five", "Six")


def compared(lots):
    """Return a comparison in which nobody has tasted the third lot."""
    ids = [str(lot.id) for lot in lots]
    strength = Difference("strength", mean=-0.31, low=-0.9, high=0.2, probability_more=0.3)
    return Comparison(
        groups={lot: sample.untasted() if place == 2 else sample.figures() for place, lot in enumerate(ids)},
        pairs=tuple(
            Pair(ids[i], ids[j], shared_tasters=j - i, outlasts=0.9, outlasted=0.04, differences=(strength,))
            for i in range(len(ids))
            for j in range(i + 1, len(ids))
        ),
    )


def page_of(*, n=3):
    lots = [bare(place, name=NAMES[place], stale=True) for place in range(n)]
    return comparison_page(
        compared(lots), lots=lots, labels={"strength": "Strength"}, rests={str(lots[0].id): "Rested"}
    )


def point(infusion, mean, low=None, high=None):
    return CurvePoint(infusion, mean, low if low is not None else mean, high if high is not None else mean, None, 0)


def test_comparison_tells_each_pair_in_words_and_in_a_table():
    page = render_to_string("pages/compare.html", {"page": page_of()})
    outline, words = Outline(page), words_of(page)
    assert (outline.open, outline.unbalanced) == ([], [])
    assert {"script", "img", "style"} & set(outline.tags) == set()
    assert "Mist Terrace outlasts" in words
    assert "is stronger over the first 8 cups with 70 % probability." in words
    assert "Which of them is liked more cannot be told: it was not rated in both." in words
    assert words.count("90 %4 %30 %cannot be told") == 3
    assert "\u22120.3\u22120.9 to +0.230 %" in words
    assert words.count("1 taster tasted both.") == 2
    assert "2 tasters tasted both." in words
    assert "<script>" not in page


def test_compared_lots_show_the_figures_of_the_comparison():
    rows = page_of().rows
    shown = ("Infusions", "Rest after roasting", "Tasted in")
    assert [(row.letter, row.lot.profile, *(dict(row.cells)[one] for one in shown)) for row in rows] == [
        ("A", "Builds up", "9 infusions (7 to 10)", "Rested", "6 sessions"),
        ("B", "Builds up", "9 infusions (7 to 10)", "\u2013", "6 sessions"),
        ("C", "Nothing tasted yet", "\u2013", "\u2013", "0 sessions"),
    ]
    assert {row.rank for row in rows} == {"\u2013"}  # liking was not rated in both of every pair
    assert not any(row.lot.stale for row in rows)  # they are made afresh
    assert [chart.title for chart in page_of().charts] == ["Strength", "Liking"]


def test_row_of_a_lot_is_of_its_own_figures_as_in_list_and_report():
    own = replace(sample.figures().steeps, recommended=7, low=6, high=8)
    lots = [bare(place, name=NAMES[place], profile=sample.profile(), steeps=own, liking=6.2) for place in range(2)]
    shown = [dict(row.cells) for row in comparison_page(compared(lots), lots=lots, labels={}, rests={}).rows]
    assert [(cells["Infusions"], cells["Liking"]) for cells in shown] == [("7 infusions (6 to 8)", "6.2")] * 2
    behind = [replace(lot, stale=True) for lot in lots]
    afresh = comparison_page(compared(behind), lots=behind, labels={}, rests={})
    assert {dict(row.cells)["Infusions"] for row in afresh.rows} == {"9 infusions (7 to 10)"}


def test_what_a_small_difference_is_is_said_once():
    page = page_of()
    sentences = [one for pair in page.pairs for one in pair.sentences]
    assert any("The difference is small" in one for one in sentences)
    assert not any("arrival check" in one for one in sentences)
    assert page.small == "Small is a difference of less than 1.5 points, which an arrival check calls “same”."


def test_likeliest_best_lot_stands_first():
    lots = [bare(place, name=NAMES[place], price_per_kg=200.0, currency="EUR") for place in range(2)]
    found = compared(lots)
    liked = Difference("liking", -1.0, -1.5, -0.5, 0.02)
    page = comparison_page(
        replace(found, pairs=(replace(found.pairs[0], differences=(liked,)),)), lots=lots, labels={}, rests={}
    )

    assert [(row.letter, row.rank, row.lot.name) for row in page.rows] == [("A", "1", NAMES[1]), ("B", "2", NAMES[0])]
    [pair] = page.pairs  # which was given the other way round
    assert (pair.first.letter, pair.second.letter, pair.probabilities[3]) == ("A", "B", percent(0.98))
    assert [(row.mean, row.span, row.more) for row in pair.differences] == [("+1.0", "+0.5 to +1.5", percent(0.98))]
    assert "is liked more with 98" in pair.sentences[2]
    cells = dict(page.rows[0].cells)
    assert (cells["Price"], cells["Price of a good cup"]) == ("200.00 EUR per kg", "0.11 EUR a cup")  # 5 g in 9 cups


def test_lots_of_one_name_are_told_apart_by_their_letters():
    twins = [bare(place, name="Twin") for place in range(2)]
    [pair] = compared(twins).pairs
    first, second = (
        ComparedRow(lot_row(lot), letter=letter, mark="", rank="", cells=())
        for lot, letter in zip(twins, "AB", strict=True)
    )
    sentences = pair_row(pair, first=first, second=second, labels={}).sentences
    assert sentences[0] == f"Twin (A) outlasts Twin (B) with {percent(0.9)} probability."
    assert sentences[1] == (
        f"Twin (B) is stronger over the first 8 cups with {percent(0.7)} probability. The difference is small,"
        " about 0.3 points."
    )


def test_every_lot_has_a_letter_a_mark_and_a_dash_of_its_own():
    points = [point(i, 5.0, 4.0, 6.0) for i in range(1, 13)]
    drawn = curves_chart([points] * 6, names=NAMES, of="Strength")
    assert [f">{letter}</text>" in drawn for letter in LETTERS] == [True] * 6
    dashes = {part.split('"')[1] for part in drawn.split("stroke-dasharray=")[1:]}
    assert len(dashes) == 6
    ends = [
        float(part.split(' y="')[1].split('"')[0]) for part in drawn.split("<text")[1:] if 'font-weight="700"' in part
    ]
    at_curves = ends[:6]
    assert min(b - a for a, b in pairwise(sorted(at_curves))) >= 14
    assert drawn.count("<script>") == 0


def test_curves_at_the_bottom_keep_their_letters_apart_and_inside():
    points = [point(i, 0.0) for i in range(1, 13)]
    drawn = curves_chart([points] * 6, names=["Same"] * 6, of="Liking", width=350)
    heights = [
        float(part.split(' y="')[1].split('"')[0]) for part in drawn.split("<text")[1:] if 'font-weight="700"' in part
    ][:6]
    assert heights == sorted(heights)
    assert max(heights) <= 300 - 44 + 5
    assert min(b - a for a, b in pairwise(heights)) == pytest.approx(15)


def test_a_lot_that_was_not_rated_is_named_but_not_drawn():
    drawn = curves_chart([[], [point(1, 3.0)]], names=["Bare", "Rated"], of="Liking")
    assert "Bare (not rated)" in drawn
    assert drawn.count("<polyline") == 1


@pytest.mark.parametrize(
    ("outlasts", "outlasted", "written"),
    [
        (0.6, 0.1, "A outlasts B with 60\u00a0% probability."),
        (0.1, 0.75, "B outlasts A with 75\u00a0% probability."),
        (0.1, 0.2, "They last equally long, with 70\u00a0% probability."),
        (
            0.4,
            0.35,
            (
                f"Which of them lasts longer cannot be told yet: A with {percent(0.4)} probability, "
                f"B with {percent(0.35)}, equally long with {percent(0.25)}."
            ),
        ),
        (None, None, "Which of them lasts longer cannot be told: strength was not rated in both."),
    ],
)  # fmt: skip
def test_who_outlasts(outlasts, outlasted, written):
    assert lasting_sentence(outlasts, outlasted, tea="A", other="B") == written


@pytest.mark.parametrize(
    ("chance", "written"),
    [
        (0.999, "A is liked more with more than 99\u00a0% probability."),
        (0.25, "B is liked more with 75\u00a0% probability."),
        (0.5, "Which of them is liked more cannot be told yet: A with 50\u00a0% probability."),
        (0.42, "Which of them is liked more cannot be told yet: B with 58\u00a0% probability."),
        (None, "Which of them is liked more cannot be told: it was not rated in both."),
    ],
)
def test_which_is_liked_more(chance, written):
    assert liked_sentence(chance, tea="A", other="B") == written


@pytest.mark.parametrize(
    ("chance", "written"),
    [
        (0.6, "A is stronger over the first 8 cups with 60\u00a0% probability."),
        (0.25, "B is stronger over the first 8 cups with 75\u00a0% probability."),
        (0.5, "Which of them is the stronger cannot be told yet: A with 50\u00a0% probability."),
        (None, "Which of them is the stronger cannot be told: it was not rated in both."),
    ],
)
def test_which_is_stronger(chance, written):
    assert stronger_sentence(chance, tea="A", other="B") == written


@pytest.mark.parametrize(
    ("low", "high", "more", "is_small"),
    [(-0.9, 0.2, 0.3, True), (-1.4, -0.2, 0.02, True), (-1.6, -0.2, 0.02, False), (-0.4, 0.4, 0.5, False)],
)
def test_sure_difference_that_an_arrival_check_calls_the_same_is_said_to_be_small(low, high, more, is_small):
    """Two answers on one pair do not contradict each other."""
    strength = Difference("strength", mean=(low + high) / 2, low=low, high=high, probability_more=more)
    pair = Pair("a", "b", shared_tasters=1, outlasts=None, outlasted=None, differences=(strength,))
    assert bool(size_words(pair, "strength")) == is_small
    assert size_words(pair, "liking") == ""


def test_lots_of_kinds_brewed_differently_are_said_to_compare_less_well():
    lots = [bare(place, name=NAMES[place]) for place in range(2)]
    found = compared(lots)
    green = replace(found.groups[str(lots[1].id)], even_brew=even_brew_of("green"))
    across = replace(found, groups={**found.groups, str(lots[1].id): green})
    assert comparison_page(found, lots=lots, labels={}, rests={}).across == ""
    assert "kinds that are brewed differently" in comparison_page(across, lots=lots, labels={}, rests={}).across
