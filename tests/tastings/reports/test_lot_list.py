"""The list of lots says what is known of each, keeps what was ticked, and leads to its other pages."""

from datetime import UTC, datetime

import pytest

from tastings.queries.lot_search import PER_PAGE, Stock, Wish
from tastings.reports.lot_list import address_of, lot_row, render_stock, stock_context
from tests.tastings.reports import sample
from tests.tastings.reports.test_page import HOSTILE, Outline, words_of

LOT = {**sample.LOT, "price_per_kg": 1180.5}
TASTED = {
    **LOT,
    "status": "bought",
    "strength": 6.04,
    "liking": 7.25,
    "tasted_at": datetime(2026, 3, 4, tzinfo=UTC),
    "development": sample.development(),
}


def page_of(lots, *, wish=None, total=None, pages=1, **rest):
    wish = wish or Wish()
    stock = Stock(
        lots=lots, total=len(lots) if total is None else total, page=wish.page, pages=pages, years=[2025, 2024]
    )
    return render_stock(stock_context(stock, wish=wish, **rest))


def test_lots_page_shows_each_lot_with_its_course_and_steeps():
    lots = [
        TASTED,
        {**LOT, "id": "b", "name": HOSTILE, "development": sample.empty()},
        {"id": "c", "name": "Bare"},
    ]
    page = page_of(lots, wish=Wish(q=HOSTILE))
    outline = Outline(page)
    assert (outline.open, outline.unbalanced) == ([], [])
    assert {"script", "img"} & set(outline.tags) == set()
    assert ("a", "href", f"/lots/{sample.LOT['id']}/report/") in outline.attributes
    assert ("input", "value", HOSTILE) in outline.attributes
    assert "Builds up Steeps: 9 (7 to 10)" in words_of(page)
    assert "Strength 6.0, liking 7.2 · Bought · 1,180.50 EUR per kg · last tasted on 4 March 2026" in words_of(page)
    assert words_of(page).count("Cannot tell yet Steeps: cannot tell yet") == 2
    assert outline.tags.count("svg") == 1


@pytest.mark.parametrize(("q", "said"), [("", "There is no lot yet."), ("zzz", "No lot matches.")])
def test_lots_page_without_lots_says_what_to_do(q, said):
    assert said in words_of(page_of([], wish=Wish(q=q)))
    assert "0 lots" in words_of(page_of([], wish=Wish(q=q)))


def test_what_was_asked_stays_chosen():
    wish = Wish(kind="green", status="sample", profile="steady", year=2024, sort="price")
    page = page_of([], wish=wish)
    chosen = [part.partition(">")[0] for part in page.split("<option")[1:] if " selected" in part]
    assert [one.split('"')[1] for one in chosen] == ["green", "sample", "steady", "2024", "price"]


def test_ticks_of_other_pages_are_kept_and_carried():
    kept = [{"id": TASTED["id"], "name": TASTED["name"]}, {"id": "z", "name": HOSTILE}]
    outline = Outline(page_of([TASTED, {"id": "c", "name": "Bare"}], kept=kept))
    ticks = [
        value for tag, name, value in outline.attributes if (tag, name) == ("input", "id") and value.startswith("t-")
    ]
    assert ticks == ["t-z", f"t-{TASTED['id']}", "t-c"]
    assert [name for tag, name, _ in outline.attributes if tag == "input"].count("checked") == 2
    hidden = ("input", "type", "hidden")
    assert outline.attributes.count(hidden) == 2


@pytest.mark.parametrize(
    ("page", "leads"),
    [(1, ["Next page", "Last"]), (2, ["Page before", "Next page"]), (3, ["First", "Page before"])],
)
def test_pages_lead_to_their_neighbours(page, leads):
    lots = [{"id": str(i), "name": "Bare"} for i in range(2)]
    shown = page_of(lots, wish=Wish(q="a b", sort="price", page=page), total=2 * PER_PAGE + 2, pages=3)
    assert f"Page {page} of 3" in shown
    assert [name for name in ("First", "Page before", "Next page", "Last") if f">{name}</a>" in shown] == leads
    assert "q=a+b&amp;sort=price" in shown
    assert f"Lots {(page - 1) * PER_PAGE + 1} to {(page - 1) * PER_PAGE + 2} of 82" in shown


@pytest.mark.parametrize(
    ("steeps", "said"),
    [
        ({"recommended": 3, "low": 3, "high": 3}, "3"),
        ({"recommended": 12, "low": 12, "high": 12}, "12 or more"),
        ({"recommended": 11, "low": 10, "high": 12}, "11 (10 to 12 or more)"),
        ({}, "cannot tell yet"),
    ],
)
def test_steeps_are_told_with_their_range_where_there_is_one(steeps, said):
    assert lot_row({"id": "a", "development": {"steeps": steeps}})["steeps"] == said


def test_address_asks_only_what_was_asked():
    assert address_of(Wish(), kept=[]) == "/lots/?"
    assert address_of(Wish(q="name", year=2024, page=2), kept=["x"]) == "/lots/?q=name&year=2024&page=2&lots=x"
