"""The list of lots says what is known of each, keeps what was ticked, and leads to its other pages."""

from dataclasses import replace
from datetime import UTC, date, datetime
from uuid import UUID

import pytest
from django.template.loader import render_to_string
from django.utils.translation import override

from tastings.queries.lot_search import PER_PAGE, ListedLot, LotFilters, LotPage
from tastings.queries.reports import LotFacts
from tastings.reports.card import origin_line
from tastings.reports.facts import provenance
from tastings.reports.lot_list import list_address, lot_list, lot_row
from tests.tastings.reports import sample
from tests.tastings.reports.test_page import HOSTILE, Outline, words_of

FIGURES = sample.figures()
TASTED = ListedLot(
    id=sample.LOT_ID,
    team_id=UUID(int=9),
    facts=sample.LOT,
    status="bought",
    day=date(2026, 2, 20),
    chosen_at=None,
    price_per_kg=1180.5,
    currency="EUR",
    tasted_at=datetime(2026, 3, 4, tzinfo=UTC),
    strength=6.04,
    liking=7.25,
    stale=False,
    profile=FIGURES.profile,
    steeps=FIGURES.steeps,
    curve=FIGURES.curve_of("strength"),
)


def bare(number, *, name="Bare", **changed):
    """Return a lot of which only the name is known."""
    untasted = replace(
        TASTED,
        id=UUID(int=number),
        facts=LotFacts(name=name),
        status=None,
        price_per_kg=None,
        currency=None,
        tasted_at=None,
        strength=None,
        liking=None,
        profile=None,
        steeps=None,
        curve=(),
    )
    return replace(untasted, **changed)


@pytest.mark.parametrize(
    ("tasted", "language", "words"),
    [(False, "en", "Chosen blind on 5 March 2026, not tasted since"),
     (False, "de", "Am 5. März 2026 blind gewählt, seither nicht verkostet"), (True, "en", "Builds up")],
)  # fmt: skip
def test_lot_that_a_flight_chose_says_so_until_it_is_tasted(tasted, language, words):
    lot = TASTED if tasted else bare(1, status="bought")
    with override(language):
        row = lot_row(replace(lot, chosen_at="2026-03-05T10:00:00+00:00"))
        status = row.facts[0 if not tasted else 1]

    assert row.profile == words
    assert status == {"en": "Bought, 20 February 2026", "de": "Gekauft, 20. Februar 2026"}[language]


def page_of(lots, *, filters=None, total=None, pages=1, **rest):
    filters = filters or LotFilters()
    page = LotPage(
        lots=lots, total=len(lots) if total is None else total, page=filters.page, pages=pages, years=[2025, 2024]
    )
    return render_to_string("pages/lots.html", {"page": lot_list(page, filters=filters, **rest)})


def test_lots_page_shows_each_lot_with_its_course_and_steeps():
    untasted = sample.untasted()
    lots = [
        TASTED,
        bare(2, name=HOSTILE, profile=untasted.profile, steeps=untasted.steeps),
        bare(3),
    ]
    page = page_of(lots, filters=LotFilters(q=HOSTILE))
    outline = Outline(page)
    assert (outline.open, outline.unbalanced) == ([], [])
    assert {"script", "img"} & set(outline.tags) == set()
    assert ("a", "href", f"/lots/{sample.LOT_ID}/report/") in outline.attributes
    assert ("input", "value", HOSTILE) in outline.attributes
    assert "Builds up 9 infusions (7 to 10)" in words_of(page)
    assert "1,180.50 EUR per kg · 0.66 EUR a cup Strength 6.0, liking 7.2 · Bought" in words_of(page)  # 5 g in 9 cups
    assert words_of(page).count("Nothing tasted yet") == 2
    assert outline.tags.count("svg") == 1


@pytest.mark.parametrize(("lang", "tea"), [("en", "Green tea"), ("de", "Grüner Tee")])
def test_kind_and_region_are_written_as_report_and_card_write_them(lang, tea):
    lot = replace(sample.LOT, kind="green", region="northern Hills", garden=None)
    with override(lang):
        [row] = lot_list(LotPage(lots=[replace(TASTED, facts=lot)], total=1, page=1, pages=1, years=[]),
                         filters=LotFilters()).rows  # fmt: skip
        assert row.origin[:2] == [tea, "northern Hills"]
        assert provenance(lot)[0] == origin_line(lot)[0] == tea
        assert "northern Hills" in provenance(lot)


def test_price_without_a_currency_says_so():
    assert "1,180.50 per kg (currency not noted)" in words_of(page_of([replace(TASTED, currency=None)]))


@pytest.mark.parametrize(("q", "text"), [("", "There is no lot yet."), ("zzz", "No lot matches.")])
def test_lots_page_without_lots_says_what_to_do(q, text):
    shown = words_of(page_of([], filters=LotFilters(q=q)))
    assert text in shown
    assert ("0 lots" in shown, "Find a lot" in shown) == (
        bool(q),
        bool(q),
    )  # where there is nothing, nothing is searched


def test_filters_stay_chosen():
    filters = LotFilters(kind="green", status="sample", profile="steady", year=2024, sort="price")
    page = page_of([], filters=filters)
    chosen = [part.partition(">")[0] for part in page.split("<option")[1:] if " selected" in part]
    assert [one.split('"')[1] for one in chosen] == ["green", "sample", "steady", "2024", "price"]


def test_ticks_of_other_pages_are_kept_and_carried():
    elsewhere, here = bare(26, name=HOSTILE), bare(3)
    outline = Outline(page_of([TASTED, here], ticked=[TASTED, elsewhere]))
    ticks = [
        value for tag, name, value in outline.attributes if (tag, name) == ("input", "id") and value.startswith("t-")
    ]
    assert ticks == [f"t-{elsewhere.id}", f"t-{TASTED.id}", f"t-{here.id}"]
    assert [name for tag, name, _ in outline.attributes if tag == "input"].count("checked") == 2
    hidden = ("input", "type", "hidden")
    assert outline.attributes.count(hidden) == 2


@pytest.mark.parametrize(
    ("page", "leads"),
    [(1, ["Next page", "Last"]), (2, ["Page before", "Next page"]), (3, ["First", "Page before"])],
)
def test_pages_lead_to_their_neighbours(page, leads):
    filters = LotFilters(q="a b", sort="price", page=page)
    shown = page_of([bare(1), bare(2)], filters=filters, total=2 * PER_PAGE + 2, pages=3)
    assert f"Page {page} of 3" in shown
    assert [name for name in ("First", "Page before", "Next page", "Last") if f">{name}</a>" in shown] == leads
    assert "q=a+b&amp;sort=price" in shown
    assert f"Lots {(page - 1) * PER_PAGE + 1} to {(page - 1) * PER_PAGE + 2} of 82" in shown


@pytest.mark.parametrize(
    ("recommended", "low", "high", "text"),
    [
        (1, 1, 1, "1 infusion"),
        (3, 3, 3, "3 infusions"),
        (24, 24, 24, "24 or more infusions"),
        (23, 22, 24, "23 infusions (22 to 24 or more)"),
        (None, None, None, ""),
    ],
)
def test_steeps_are_written_with_their_range_where_there_is_one(recommended, low, high, text):
    steeps = replace(FIGURES.steeps, recommended=recommended, low=low, high=high)
    assert lot_row(replace(TASTED, steeps=steeps)).infusions == text


def test_address_has_only_the_filters_that_are_set():
    assert list_address(LotFilters(), ticked=[]) == "/lots/?"
    filters = LotFilters(q="name", year=2024, page=2)
    assert list_address(filters, ticked=["x"]) == "/lots/?q=name&year=2024&page=2&lots=x"
