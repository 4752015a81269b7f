"""From plain records to the list of lots with its search. Reads nothing and writes nothing."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from lots.schemas import KINDS, LOT
from tastings.queries.lot_search import PER_PAGE, PROFILES, Stock, Wish
from tastings.reports.facts import day_of, origin
from tastings.reports.svg import curve_of, sparkline
from tastings.reports.words import PROFILE_WORDS, counted, one_decimal, profile_words, steep_span

SORT_WORDS = {
    "name": "Name",
    "tasted": "Newest tasting",
    "strength": "Strength, strongest first",
    "steeps": "Steeps, most first",
    "liking": "Liking, best first",
    "price": "Price, lowest first",
}
_KEPT_WITH = ("q", "kind", "status", "profile", "year", "sort")


def stock_context(
    stock: Stock, *, wish: Wish, kept: Sequence[Mapping[str, Any]] = (), with_team: bool = False
) -> dict[str, Any]:
    """Build what the list of lots shows.

    Parameters
    ----------
    stock : Stock
        The page of the list.
    wish : Wish
        What was asked for.
    kept : sequence of mappings
        Lots that were ticked on other pages, to be compared.
    with_team : bool
        Whether to say whose each lot is, for who is in several teams.
    """
    ticked = {lot["id"] for lot in kept}
    rows = [lot_row(lot, with_team=with_team, ticked=ticked) for lot in stock.lots]
    here = {row["id"] for row in rows}
    first = (stock.page - 1) * PER_PAGE + 1
    many = stock.pages > 1
    span = f"Lots {first:,} to {first + len(rows) - 1:,} of {stock.total:,}" if many else counted(stock.total, "lot")
    return {
        "rows": rows,
        "q": wish.q,
        "narrowed": wish.narrows,
        "found": span,
        "choices": _choices(stock, wish),
        "kept": [{"id": lot["id"], "name": lot["name"]} for lot in kept if lot["id"] not in here],
        "carried": [lot["id"] for lot in kept],
        "pages": _pages(stock, wish, kept=[lot["id"] for lot in kept]),
    }


def lot_row(lot: Mapping[str, Any], *, with_team: bool = False, ticked: Collection[str] = ()) -> dict[str, Any]:
    """Put one lot of a list into words."""
    development = lot.get("development") or {}
    steeps = development.get("steeps") or {}
    season = str(lot.get("harvest_year") or "")
    return {
        "id": lot["id"],
        "name": lot.get("name") or "Lot without a name",
        "href": f"/lots/{lot['id']}/report/",
        "origin": [
            *origin(lot),
            *([season] if season else []),
            *([f"lot {lot['code']}"] if lot.get("code") else []),
            *([lot["team"]] if with_team else []),
        ],
        "facts": [*_points(lot), *_buying(lot)],
        "profile": profile_words(development.get("profile")).capitalize(),
        "steeps": _steeps(steeps),
        "sparkline": SafeString(sparkline(curve_of(development, "strength"))),
        "stale": bool(development.get("stale")),
        "ticked": lot["id"] in ticked,
    }


def _steeps(steeps: Mapping[str, Any]) -> str:
    return "cannot tell yet" if steeps.get("recommended") is None else steep_span(steeps)


def _points(lot: Mapping[str, Any]) -> list[str]:
    told = [f"{field} {one_decimal(lot[field])}" for field in ("strength", "liking") if lot.get(field) is not None]
    return [", ".join(told).capitalize()] if told else []


def _buying(lot: Mapping[str, Any]) -> list[str]:
    price = lot.get("price_per_kg")
    money = "" if price is None else f"{price:,.2f} {lot.get('currency') or ''}".strip() + " per kg"
    tasted = day_of(lot.get("tasted_at"))
    said = [str(lot.get("status") or "").capitalize(), money, f"last tasted on {tasted}" if tasted else ""]
    return [part for part in said if part]


def _choices(stock: Stock, wish: Wish) -> list[dict[str, Any]]:
    """Return the menus of the search form."""
    statuses = next(field.choices for field in LOT.fields if field.name == "status") or ()
    menus: Sequence[tuple[str, str, object, Mapping[str, str]]] = (
        ("kind", "Kind", wish.kind, {"": "All kinds", **{kind: kind.capitalize() for kind in KINDS}}),
        ("status", "Status", wish.status, {"": "Any status", **{one: one.capitalize() for one in statuses}}),
        (
            "profile",
            "Course of strength",
            wish.profile,
            {"": "Any course", **{one: PROFILE_WORDS[one].capitalize() for one in PROFILES}},
        ),
        ("year", "Harvest year", wish.year or "", {"": "Any year", **{str(year): str(year) for year in stock.years}}),
        ("sort", "Sort by", wish.sort, SORT_WORDS),
    )
    return [
        {
            "name": name,
            "label": label,
            "options": [
                {"value": value, "words": words, "chosen": value == str(chosen)} for value, words in options.items()
            ],
        }
        for name, label, chosen, options in menus
    ]


def address_of(wish: Wish, *, kept: Sequence[str]) -> str:
    """Return the address of the list that asks for this."""
    nothing = Wish()
    asked = [(name, str(value)) for name in _KEPT_WITH if (value := getattr(wish, name)) != getattr(nothing, name)]
    page = [("page", str(wish.page))] if wish.page > 1 else []
    return f"/lots/?{urlencode([*asked, *page, *(('lots', lot) for lot in kept)])}"


def _pages(stock: Stock, wish: Wish, *, kept: Sequence[str]) -> dict[str, Any] | None:
    if stock.pages < 2:
        return None

    def href(page: int) -> str:
        return address_of(replace(wish, page=page), kept=kept)

    return {
        "words": f"Page {stock.page:,} of {stock.pages:,}",
        "before": href(stock.page - 1) if stock.page > 1 else "",
        "after": href(stock.page + 1) if stock.page < stock.pages else "",
        "first": href(1) if stock.page > 2 else "",
        "last": href(stock.pages) if stock.page < stock.pages - 1 else "",
    }


def render_stock(context: Mapping[str, Any], *, request: HttpRequest | None = None) -> str:
    """Write the page that lists the lots; see :func:`stock_context`."""
    return render_to_string("pages/lots.html", dict(context), request=request)
