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
from tastings.maths.flights.interchange import Allocation, improve
from tastings.maths.flights.orders import balance, count_orders
from tastings.maths.flights.sittings import OpenSitting, PlanError, PlannedSitting, PlanRequest, open_sittings_for
from tastings.maths.flights.williams import rows_for

__all__ = ["Plan", "PlanError", "PlannedSitting", "Repeat", "plan_servings"]


@dataclass(frozen=True, slots=True)
class Repeat:
    """A lot that a taster gets more than once: sitting number and place (from 1) of each of these cups."""

    taster: str
    lot: str
    cups: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """All sittings, and how fair they are."""

    sittings: tuple[PlannedSitting, ...]  # by taster in the order given, then by number; tasters who are out come last
    # mean efficiency factor of the comparisons of two lots, adjusted for sittings, against as many cups in complete
    # sittings (John and Williams 1995); 0 when some lots cannot be compared [0 to 1]
    efficiency: float
    bound: float  # what no plan with as many cups of each lot and sittings of these sizes can pass [0 to 1]
    connected: bool  # whether any two lots can be compared within sittings, directly or over other lots
    # over lots, largest difference between how often a lot stands at one place and at another [cups]
    position_spread: int
    # how much oftener the commonest ordered pair of lots stands side by side than the rarest [cups]
    carry_over_spread: int
    repeats: tuple[Repeat, ...]  # lots that a taster gets more than once, the reference left out


def plan_servings(  # noqa: PLR0913  # each is a question that the pourer answers
    *,
    lots: Sequence[str],
    tasters: Sequence[str],
    cups: int,
    sittings: int = 1,
    reference: str | None = None,
    repeats: int = 0,
    fixed: Sequence[PlannedSitting] = (),
    seed: int,
    on_progress: Callable[[float], None] | None = None,
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
    fixed : Sequence[PlannedSitting]
        Sittings of an earlier plan of which ``lots[:n_fixed]`` are tasted. These cups stay as they are, also of lots
        and tasters no longer given; such a taster gets no more.
    seed : int
        Same arguments and seed, same plan.
    on_progress : Callable[[float], None], optional
        Called with the share of the work done, 0 to 1.

    Returns
    -------
    Plan
        Figures are those of the whole, fixed cups included.

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
    request = PlanRequest(tuple(lots), tuple(tasters), cups, sittings, reference, repeats)
    request.check()
    report = on_progress or (lambda _share: None)
    rng = np.random.default_rng(seed)
    report(0.0)
    open_sittings = open_sittings_for(request, fixed)
    _share_out(request, open_sittings, rng)
    report(0.05)
    allocation = _allocation(request, open_sittings)
    improved = improve(allocation, rng=rng, on_progress=lambda share: report(0.05 + 0.65 * share))
    for number, sitting in enumerate(open_sittings):
        sitting.lots = [request.lots[lot] for lot in improved.lot[improved.block == number]]
    report(0.7)
    _order(request, open_sittings, rng, lambda share: report(0.7 + 0.3 * share))
    report(1.0)
    return _plan(request, open_sittings, improved)


def _share_out(request: PlanRequest, open_sittings: list[OpenSitting], rng: np.random.Generator) -> None:
    """Give every sitting its lots, evenly; raise PlanError if some lot would get no cup."""
    index = {lot: i for i, lot in enumerate(request.lots)}
    poured = _count_lots(index, [lot for sitting in open_sittings for lot in sitting.prefix])
    by_taster = [[sitting for sitting in open_sittings if sitting.taster == taster] for taster in request.tasters]
    had = np.array([_count_lots(index, [lot for sitting in theirs for lot in sitting.prefix]) for theirs in by_taster])
    need = np.array([sum(sitting.room for sitting in theirs) for theirs in by_taster])
    if (poured == 0).sum() > need.sum():
        raise PlanError("lots", "too_few_cups", lots=int((poured == 0).sum()), cups=int(need.sum()))
    dealt = deal(had=had, need=need, poured=poured, repeats=[request.repeats] * len(by_taster), rng=rng)
    if (poured + dealt.sum(axis=0) == 0).any():
        raise PlanError("repeats", "repeats_leave_lots_out")
    for theirs, row in zip(by_taster, dealt, strict=True):
        fixed = np.stack([_count_lots(index, sitting.prefix) for sitting in theirs], axis=1)
        lots_of = into_sittings(row, room=[sitting.room for sitting in theirs], had=fixed, rng=rng)
        for sitting, lots in zip(theirs, lots_of, strict=True):
            sitting.lots = [request.lots[lot] for lot in lots]


def _count_lots(index: dict[str, int], lots: Sequence[str]) -> IntArray:
    return np.bincount([index[lot] for lot in lots if lot in index], minlength=len(index)).astype(np.int64)


def _allocation(request: PlanRequest, open_sittings: list[OpenSitting]) -> Allocation:
    """Return the dealt lots as the interchange takes them."""
    index = {lot: i for i, lot in enumerate(request.lots)}
    others = sorted(
        {lot for sitting in open_sittings for lot in sitting.prefix} - set(request.lots) - {request.reference}
    )
    other_index = {lot: i for i, lot in enumerate([request.reference] if request.reference is not None else [])}
    other_index |= {lot: len(other_index) + i for i, lot in enumerate(others)}
    counts = np.stack([_count_lots(index, sitting.all()) for sitting in open_sittings], axis=1)
    other_counts = np.zeros((len(other_index), len(open_sittings)), dtype=np.int64)
    for number, sitting in enumerate(open_sittings):
        for lot in (*sitting.prefix, *([request.reference] if sitting.wants_reference else [])):
            if lot in other_index:
                other_counts[other_index[lot], number] += 1
    tasters = [number for number, (_, own) in enumerate(groupby(open_sittings, key=lambda s: s.taster)) for _ in own]
    return Allocation(
        counts=counts,
        others=other_counts,
        tasters=np.array(tasters),
        lot=np.array([index[lot] for sitting in open_sittings for lot in sitting.lots], dtype=np.int64),
        block=np.array([number for number, sitting in enumerate(open_sittings) for _ in sitting.lots], dtype=np.int64),
    )


def _order(
    request: PlanRequest,
    open_sittings: list[OpenSitting],
    rng: np.random.Generator,
    on_progress: Callable[[float], None],
) -> None:
    """Put every sitting in order, the reference among its lots."""
    for sitting in open_sittings:
        if sitting.wants_reference and request.reference is not None:
            sitting.lots.append(request.reference)
    names = sorted({lot for sitting in open_sittings for lot in sitting.all()})
    index = {lot: i for i, lot in enumerate(names)}
    same = {tuple(sorted(Counter(sitting.lots).items())) for sitting in open_sittings}
    if (
        len(same) == 1
        and not any(sitting.prefix for sitting in open_sittings)
        and len(set(open_sittings[0].lots)) == len(open_sittings[0].lots)
    ):
        rows = rows_for(len(open_sittings), t=len(open_sittings[0].lots), rng=rng)
        lots = sorted(open_sittings[0].lots)
        for sitting, row in zip(open_sittings, rows, strict=True):
            sitting.lots = [lots[i] for i in row]
    else:
        for sitting in open_sittings:
            sitting.lots = [sitting.lots[i] for i in rng.permutation(len(sitting.lots))]
    orders = [[index[lot] for lot in sitting.all()] for sitting in open_sittings]
    n_fixed = [len(sitting.prefix) for sitting in open_sittings]
    for sitting, order in zip(
        open_sittings,
        balance(orders, n_fixed=n_fixed, n_lots=len(names), rng=rng, on_progress=on_progress),
        strict=True,
    ):
        sitting.lots = [names[i] for i in order[len(sitting.prefix) :]]


def _plan(request: PlanRequest, open_sittings: list[OpenSitting], allocation: Allocation) -> Plan:
    """Take the figures of the plan."""
    names = [*request.lots, *([request.reference] if request.reference is not None else [])]
    n_known = len(names)
    names += sorted({lot for sitting in open_sittings for lot in sitting.prefix} - set(names))
    index = {lot: i for i, lot in enumerate(names)}
    orders = count_orders([[index[lot] for lot in sitting.all()] for sitting in open_sittings], n_lots=len(names))
    places, follows = orders.places[:n_known], orders.follows[:n_known, :n_known]
    pairs = follows[~np.eye(n_known, dtype=bool)]
    used = (allocation.counts.sum(axis=0) + allocation.others.sum(axis=0)) > 0
    counts, others = allocation.counts[:, used], allocation.others[:, used]
    planned = [
        PlannedSitting(sitting.taster, sitting.number, sitting.all(), n_fixed=len(sitting.prefix))
        for sitting in open_sittings
        if sitting.all()
    ]
    return Plan(
        sittings=tuple(planned),
        efficiency=efficiency(counts, others),
        bound=bound(counts, others),
        connected=is_connected(counts, others),
        position_spread=int(np.ptp(places, axis=1).max()),
        carry_over_spread=int(np.ptp(pairs)),
        repeats=_repeats(request, planned),
    )


def _repeats(request: PlanRequest, sittings: Sequence[PlannedSitting]) -> tuple[Repeat, ...]:
    cups: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for sitting in sittings:
        for place, lot in enumerate(sitting.lots, start=1):
            if lot != request.reference:
                cups.setdefault((sitting.taster, lot), []).append((sitting.number, place))
    return tuple(Repeat(taster, lot, tuple(where)) for (taster, lot), where in cups.items() if len(where) > 1)
