"""The serving plan of a blind flight: which lots each taster gets in each sitting, and in which order.

How many cups of each lot each taster gets is dealt as evenly as can be (``dealing``), which sitting they come to is
found by interchange on the efficiency of comparing lots adjusted for sittings (``interchange``), and the order within
sittings by annealing on the balance of places and of the cup before (``orders``), from rows of Williams squares
(``williams``) where every sitting holds the same lots.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from tastings.maths.arrays import IntArray
from tastings.maths.flights.dealing import deal, into_sittings
from tastings.maths.flights.efficiency import bound, efficiency, is_connected
from tastings.maths.flights.interchange import Cups, improve
from tastings.maths.flights.orders import balance, tally
from tastings.maths.flights.sittings import PlanError, Sitting, Table, Wish, tables_for
from tastings.maths.flights.williams import rows_for

__all__ = ["Plan", "PlanError", "Repeat", "Sitting", "plan_servings"]


@dataclass(frozen=True, slots=True)
class Repeat:
    """A lot that a taster gets more than once: sitting number and place (from 1) of each of these cups."""

    taster: str
    lot: str
    cups: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """All sittings, and how fair they are.

    Parameters
    ----------
    sittings : tuple[Sitting, ...]
        By taster in the order given, then by number; tasters who are out come last.
    efficiency : float
        Mean efficiency factor of the comparisons of two lots, adjusted for sittings, against as many cups in complete
        sittings (John and Williams 1995); 0 when some lots cannot be compared. [0 to 1]
    bound : float
        What no plan with as many cups of each lot and sittings of these sizes can pass. [0 to 1]
    connected : bool
        Whether any two lots can be compared within sittings, directly or over other lots.
    position_spread : int
        Over lots, largest difference between how often a lot stands at one place and at another. [cups]
    carry_over_spread : int
        How much oftener the commonest ordered pair of lots stands side by side than the rarest. [cups]
    repeats : tuple[Repeat, ...]
        Lots that a taster gets more than once, the reference left out.
    """

    sittings: tuple[Sitting, ...]
    efficiency: float
    bound: float
    connected: bool
    position_spread: int
    carry_over_spread: int
    repeats: tuple[Repeat, ...]


def plan_servings(  # noqa: PLR0913  # each is a question that the pourer answers
    *,
    lots: Sequence[str],
    tasters: Sequence[str],
    cups: int,
    sittings: int = 1,
    reference: str | None = None,
    repeats: int = 0,
    kept: Sequence[Sitting] = (),
    seed: int,
    told: Callable[[float], None] | None = None,
) -> Plan:
    """Plan who is served what, when.

    Parameters
    ----------
    lots : Sequence[str]
        Lots to choose from, two or more.
    tasters : Sequence[str]
        Who tastes from now on.
    cups : int
        How many cups a taster may take in a sitting, all counted; no more are used than every lot once, the reference
        and the repeats take. [cups]
    sittings : int
        How many each taster sits.
    reference : str, optional
        A known lot, not among ``lots``, that is poured once in every sitting.
    repeats : int
        How many cups of each taster repeat a lot that the taster gets in another cup too, at least. With as many cups
        as lots or more, lots come again by themselves, and these count. [cups]
    kept : Sequence[Sitting]
        Sittings of an earlier plan of which ``lots[:kept]`` are tasted. These cups stay as they are, also of lots and
        tasters no longer given; such a taster gets no more.
    seed : int
        Same arguments and seed, same plan.
    told : Callable[[float], None], optional
        Told the share of the work done, 0 to 1.

    Returns
    -------
    Plan
        Figures are those of the whole, kept cups included.

    Raises
    ------
    PlanError
        There is no such plan; ``field`` says which argument to change.

    Examples
    --------
    >>> plan = plan_servings(lots="abcd", tasters=["one", "two", "three", "four"], cups=4, seed=1)
    >>> round(plan.efficiency, 6), plan.position_spread, plan.carry_over_spread
    (1.0, 0, 0)
    """
    wish = Wish(tuple(lots), tuple(tasters), cups, sittings, reference, repeats)
    wish.refuse_nonsense()
    tell = told or (lambda _share: None)
    chance = np.random.default_rng(seed)
    tell(0.0)
    tables = tables_for(wish, kept)
    _share_out(wish, tables, chance)
    tell(0.05)
    cells = _cells(wish, tables)
    found = improve(cells, chance=chance, told=lambda share: tell(0.05 + 0.65 * share))
    for number, table in enumerate(tables):
        table.lots = [wish.lots[lot] for lot in found.lot[found.block == number]]
    tell(0.7)
    _order(wish, tables, chance, lambda share: tell(0.7 + 0.3 * share))
    tell(1.0)
    return _plan(wish, tables, found)


def _share_out(wish: Wish, tables: list[Table], chance: np.random.Generator) -> None:
    """Give every sitting its lots, evenly; raise PlanError if some lot would get no cup."""
    place = {lot: index for index, lot in enumerate(wish.lots)}
    poured = _counted(place, [lot for table in tables for lot in table.prefix])
    own = [[table for table in tables if table.taster == taster] for taster in wish.tasters]
    had = np.array([_counted(place, [lot for table in some for lot in table.prefix]) for some in own])
    need = np.array([sum(table.room for table in some) for some in own])
    if (poured == 0).sum() > need.sum():
        raise PlanError("lots", f"{(poured == 0).sum()} lots want a cup and {need.sum()} cups are free for them")
    given = deal(had=had, need=need, poured=poured, repeats=[wish.repeats] * len(own), chance=chance)
    if (poured + given.sum(axis=0) == 0).any():
        raise PlanError("repeats", "with so many repeats there are too few cups for all lots")
    for some, row in zip(own, given, strict=True):
        kept = np.stack([_counted(place, table.prefix) for table in some], axis=1)
        dealt = into_sittings(row, room=[table.room for table in some], had=kept, chance=chance)
        for table, here in zip(some, dealt, strict=True):
            table.lots = [wish.lots[lot] for lot in here]


def _counted(place: dict[str, int], lots: Sequence[str]) -> IntArray:
    return np.bincount([place[lot] for lot in lots if lot in place], minlength=len(place)).astype(np.int64)


def _cells(wish: Wish, tables: list[Table]) -> Cups:
    place = {lot: index for index, lot in enumerate(wish.lots)}
    others = sorted({lot for table in tables for lot in table.prefix} - set(wish.lots) - {wish.reference})
    other_place = {lot: index for index, lot in enumerate([wish.reference] if wish.reference is not None else [])}
    other_place |= {lot: len(other_place) + index for index, lot in enumerate(others)}
    counts = np.stack([_counted(place, table.all()) for table in tables], axis=1)
    beside = np.zeros((len(other_place), len(tables)), dtype=np.int64)
    for number, table in enumerate(tables):
        for lot in (*table.prefix, *([wish.reference] if table.wants_reference else [])):
            if lot in other_place:
                beside[other_place[lot], number] += 1
    tasters = [number for number, (_, some) in enumerate(groupby(tables, key=lambda one: one.taster)) for _ in some]
    return Cups(
        counts=counts,
        others=beside,
        tasters=np.array(tasters),
        lot=np.array([place[lot] for table in tables for lot in table.lots], dtype=np.int64),
        block=np.array([number for number, table in enumerate(tables) for _ in table.lots], dtype=np.int64),
    )


def _order(wish: Wish, tables: list[Table], chance: np.random.Generator, told: Callable[[float], None]) -> None:
    """Put every sitting in order, the reference among its lots."""
    for table in tables:
        if table.wants_reference and wish.reference is not None:
            table.lots.append(wish.reference)
    names = sorted({lot for table in tables for lot in table.all()})
    place = {lot: index for index, lot in enumerate(names)}
    same = {tuple(sorted(Counter(table.lots).items())) for table in tables}
    if len(same) == 1 and not any(table.prefix for table in tables) and len(set(tables[0].lots)) == len(tables[0].lots):
        rows = rows_for(len(tables), t=len(tables[0].lots), chance=chance)
        here = sorted(tables[0].lots)
        for table, row in zip(tables, rows, strict=True):
            table.lots = [here[one] for one in row]
    else:
        for table in tables:
            table.lots = [table.lots[one] for one in chance.permutation(len(table.lots))]
    orders = [[place[lot] for lot in table.all()] for table in tables]
    kept = [len(table.prefix) for table in tables]
    for table, order in zip(
        tables, balance(orders, kept=kept, n_lots=len(names), chance=chance, told=told), strict=True
    ):
        table.lots = [names[one] for one in order[len(table.prefix) :]]


def _plan(wish: Wish, tables: list[Table], cells: Cups) -> Plan:
    """Take the figures of the plan."""
    names = [*wish.lots, *([wish.reference] if wish.reference is not None else [])]
    n_known = len(names)
    names += sorted({lot for table in tables for lot in table.prefix} - set(names))
    place = {lot: index for index, lot in enumerate(names)}
    found = tally([[place[lot] for lot in table.all()] for table in tables], n_lots=len(names))
    places, follows = found.places[:n_known], found.follows[:n_known, :n_known]
    pairs = follows[~np.eye(n_known, dtype=bool)]
    used = (cells.counts.sum(axis=0) + cells.others.sum(axis=0)) > 0
    counts, others = cells.counts[:, used], cells.others[:, used]
    made = [Sitting(table.taster, table.number, table.all(), kept=len(table.prefix)) for table in tables if table.all()]
    return Plan(
        sittings=tuple(made),
        efficiency=efficiency(counts, others),
        bound=bound(counts, others),
        connected=is_connected(counts, others),
        position_spread=int(np.ptp(places, axis=1).max()),
        carry_over_spread=int(np.ptp(pairs)),
        repeats=_repeats(wish, made),
    )


def _repeats(wish: Wish, sittings: Sequence[Sitting]) -> tuple[Repeat, ...]:
    cups: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for one in sittings:
        for place, lot in enumerate(one.lots, start=1):
            if lot != wish.reference:
                cups.setdefault((one.taster, lot), []).append((one.number, place))
    return tuple(Repeat(taster, lot, tuple(where)) for (taster, lot), where in cups.items() if len(where) > 1)
