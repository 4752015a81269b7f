"""The list of lots with its search, in words. Reads nothing and writes nothing."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from django.utils.formats import number_format
from django.utils.functional import Promise
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from tastings.maths.brewing.even_brew import even_brew_of
from tastings.maths.curve.profile import LABELS
from tastings.maths.guide.guests import Price, cost
from tastings.maths.guide.pots import Vessel
from tastings.queries.lot_search import PER_PAGE, PROFILES, ListedLot, LotFilters, LotPage
from tastings.reports.facts import origin
from tastings.reports.strips import sparkline
from tastings.wording.counts import counted
from tastings.wording.labels import PROFILES as PROFILE_LABELS
from tastings.wording.labels import STATUSES, TEAS
from tastings.wording.lots import chosen_blind, status_with_day
from tastings.wording.numbers import capitalised, day, money, one_decimal, price_per_kg
from tastings.wording.profile import infusions_words, is_known, verdict_words

FILTERS = ("q", "kind", "status", "profile", "year", "sort")
"""Query parameters that stay in the address from page to page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LotRow:
    """One lot of a list in words."""

    id: str
    name: str
    href: str
    origin: list[str]
    facts: list[str]
    prices: list[str]
    profile: str
    is_known: bool
    infusions: str
    sparkline: SafeString
    stale: bool
    ticked: bool


@dataclass(frozen=True, slots=True)
class Option:
    """One line of a menu."""

    value: str
    words: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Menu:
    """One menu of the search form."""

    name: str
    label: str
    options: list[Option]


@dataclass(frozen=True, slots=True)
class TickedLot:
    """A lot that was ticked on another page."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class PageLinks:
    """Addresses of the other pages; empty where there is none."""

    words: str
    before: str
    after: str
    first: str
    last: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LotList:
    """What the list's template shows."""

    rows: list[LotRow]
    q: str
    is_filtered: bool
    is_narrowed: bool
    count: str
    menus: list[Menu]
    ticked: list[TickedLot]
    carried: list[str]
    pages: PageLinks | None


def lot_list(page: LotPage, *, filters: LotFilters, ticked: Sequence[ListedLot] = ()) -> LotList:
    """Build what the list of lots shows; ``ticked`` are lots ticked to be compared, here or on other pages."""
    ids = [str(lot.id) for lot in ticked]
    rows = [lot_row(lot, ticked=ids) for lot in page.lots]
    here = {row.id for row in rows}
    return LotList(
        rows=rows,
        q=filters.q,
        is_filtered=filters.are_set,
        is_narrowed=replace(filters, q="", page=1) != LotFilters(),
        count=_count(page, n_rows=len(rows)),
        menus=_menus(page, filters),
        ticked=[TickedLot(str(lot.id), lot.facts.name) for lot in ticked if str(lot.id) not in here],
        carried=ids,
        pages=_pages(page, filters, ticked=ids),
    )


def lot_row(lot: ListedLot, *, ticked: Collection[str] = ()) -> LotRow:
    """Put one lot of a list into words."""
    facts = lot.facts
    return LotRow(
        id=str(lot.id),
        name=facts.name or _("Lot without a name"),
        href=f"/lots/{lot.id}/report/",
        origin=[
            *origin(facts),
            *([str(facts.harvest_year)] if facts.harvest_year else []),
            *([_("lot %(code)s") % {"code": facts.code}] if facts.code else []),
        ],
        facts=[*_points(lot), *_buying(lot)],
        prices=prices(lot),
        profile=_verdict(lot),
        is_known=lot.profile is not None and lot.profile.label in LABELS,
        infusions=infusions_words(lot.steeps),
        sparkline=SafeString(sparkline(lot.curve)),
        stale=lot.stale,
        ticked=str(lot.id) in ticked,
    )


def _verdict(lot: ListedLot) -> str:
    if lot.tasted_at is None and (lot.profile is None or not is_known(lot.profile)):
        return chosen_blind(lot.chosen_at) if lot.chosen_at else _("Nothing tasted yet")
    return capitalised(verdict_words(lot.profile))


def _count(page: LotPage, *, n_rows: int) -> str:
    if page.pages < 2:
        return counted(page.total, "lot")
    first = (page.page - 1) * PER_PAGE + 1
    return _("Lots %(first)s to %(last)s of %(total)s") % {
        "first": _whole(first),
        "last": _whole(first + n_rows - 1),
        "total": _whole(page.total),
    }


def _points(lot: ListedLot) -> list[str]:
    parts = [
        "" if lot.strength is None else _("strength %(points)s") % {"points": one_decimal(lot.strength)},
        "" if lot.liking is None else _("liking %(points)s") % {"points": one_decimal(lot.liking)},
    ]
    words = ", ".join(filter(None, parts))
    return [capitalised(words)] if words else []


def prices(lot: ListedLot) -> list[str]:
    """Write the price of a kilogram and of a cup worth drinking, on the even brew of the kind."""
    if lot.price_per_kg is None:
        return []
    even = even_brew_of(lot.facts.kind or "")
    vessel = Vessel(leaf_g=even.leaf_g, vessel_ml=even.vessel_ml)
    rounds = lot.steeps.recommended if lot.steeps else None
    price = cost(Price(lot.price_per_kg, lot.currency), vessel=vessel, cup_ml=even.vessel_ml, rounds=rounds)
    per_cup = price.per_cup if price else None
    return [
        price_per_kg(lot.price_per_kg, lot.currency),
        *([] if per_cup is None else [_("%(price)s a cup") % {"price": money(per_cup, lot.currency)}]),
    ]


def _buying(lot: ListedLot) -> list[str]:
    tasted = _("last tasted on %(day)s") % {"day": day(lot.tasted_at)} if lot.tasted_at else ""
    return [part for part in (capitalised(status_with_day(lot.status, lot.day)), tasted) if part]


def _menus(page: LotPage, filters: LotFilters) -> list[Menu]:
    sorts = {
        "name": _("Name"),
        "tasted": _("Newest tasting"),
        "strength": _("Strength, strongest first"),
        "steeps": _("Infusions, most first"),
        "liking": _("Liking, best first"),
        "price": _("Price, lowest first"),
    }
    profiles = {code: PROFILE_LABELS[code] for code in PROFILES}
    years = {str(year): str(year) for year in page.years}
    return [
        _menu("kind", _("Kind"), filters.kind, {"": _("All kinds"), **_capitals(TEAS)}),
        _menu("status", _("Status"), filters.status, {"": _("Any status"), **_capitals(STATUSES)}),
        _menu("profile", _("Course of strength"), filters.profile, {"": _("Any course"), **_capitals(profiles)}),
        _menu("year", _("Harvest year"), str(filters.year or ""), {"": _("Any year"), **years}),
        _menu("sort", _("Sort by"), filters.sort, sorts),
    ]


def _menu(name: str, label: str, chosen: str, options: Mapping[str, str]) -> Menu:
    return Menu(name, label, [Option(value, words, value == chosen) for value, words in options.items()])


def _capitals(labels: Mapping[str, Promise]) -> dict[str, str]:
    return {code: capitalised(str(words)) for code, words in labels.items()}


def list_address(filters: LotFilters, *, ticked: Sequence[str]) -> str:
    """Return the address of the list with these filters."""
    unset = LotFilters()
    query = [(name, str(value)) for name in FILTERS if (value := getattr(filters, name)) != getattr(unset, name)]
    page = [("page", str(filters.page))] if filters.page > 1 else []
    return f"/lots/?{urlencode([*query, *page, *(('lots', lot) for lot in ticked)])}"


def _pages(page: LotPage, filters: LotFilters, *, ticked: Sequence[str]) -> PageLinks | None:
    if page.pages < 2:
        return None

    def href(number: int) -> str:
        return list_address(replace(filters, page=number), ticked=ticked)

    return PageLinks(
        words=_("Page %(page)s of %(pages)s") % {"page": _whole(page.page), "pages": _whole(page.pages)},
        before=href(page.page - 1) if page.page > 1 else "",
        after=href(page.page + 1) if page.page < page.pages else "",
        first=href(1) if page.page > 2 else "",
        last=href(page.pages) if page.page < page.pages - 1 else "",
    )


def _whole(n: int) -> str:
    return str(number_format(n, force_grouping=True))
