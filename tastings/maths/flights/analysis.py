"""The analysis of a blind flight: which lot is best, how sure that is, and what more tasting would change.

Figures of the lots come from :mod:`tastings.maths.flights.model`, which allows for tasters, sittings, position and
carry-over and for not knowing how large these are. Beside them stand the tests of common practice, which assume less
and say less: ranks (ISO 8587, Friedman, Kendall, Page) and the least significant difference of means.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from tastings.maths.flights.blocks import block_means
from tastings.maths.flights.cups import Cup, ServedCups, mean_scores, repeatability, served_cups
from tastings.maths.flights.further_cups import further_cups
from tastings.maths.flights.model import Draws, draw
from tastings.maths.flights.ranking import ScoreTable, friedman_test, page_test, rank_sum_difference, rank_sums
from tastings.maths.flights.result import SETTLED, FlightResult, Spreads, TasterEffect
from tastings.maths.flights.standings import Estimate, standings
from tastings.maths.panel.agreement import AgreementError, concordance

_USUAL_CUPS = 6
ALPHA = 0.05
"""Probability of a false alarm of each test."""


def analyse_flight(  # noqa: PLR0913  # each is a question of the buyer's
    cups: Sequence[Cup],
    *,
    scale: float,
    seed: int,
    expected_order: Sequence[str] = (),
    lots: Sequence[str] = (),
    controls: Sequence[str] = (),
) -> FlightResult:
    """Return what the scores of a flight say.

    Parameters
    ----------
    cups : Sequence[Cup]
        All that were tasted, of all tasters, in any order; hidden duplicates are further cups of their lot.
    scale : float
        The highest score: 10 for liking, 100 for a weighted score. [points]
    seed : int
        The same cups and seed give the same result.
    expected_order : Sequence[str]
        Lots in the order expected beforehand, the best first, for Page's test.
    lots : Sequence[str]
        Lots of the flight, so that one without a cup is in the result as well.
    controls : Sequence[str]
        Lots that were served for comparison and cannot be chosen, such as a known reference.

    Raises
    ------
    CupError
        A score off the scale, a position below 1 or taken twice, or a sitting of two tasters.
    RankingError
        A lot stands twice in the expected order.
    """
    served = served_cups(cups, scale=scale, lots=lots)
    if not served.score.size:
        return _nothing()
    rng = np.random.default_rng(seed)
    draws = draw(served, scale=scale, rng=rng)
    drawn = draws.worth()
    free = np.array([i for i, lot in enumerate(served.lots) if lot not in set(controls)], dtype=np.intp)
    stand = standings(served, worth=drawn, among=free.tolist())
    barred = standings(
        served, worth=drawn, among=[i for i, lot in enumerate(served.lots) if lot in set(controls)], ranked=False
    )
    further = further_cups(draws, served=served, candidates=free, cups=_sitting_cups(served), rng=rng)
    settled = len(stand) > 1 and stand[0].p_best >= SETTLED
    table = mean_scores(cups)
    test = friedman_test(table)
    full = {taster: row for taster, row in table.items() if len(row) == len({cup.lot for cup in cups})}
    everyone = len(full) == len(table) > 1 and len(next(iter(full.values()))) > 1
    least, differ = _differences(served)
    repeated, repeated_by = repeatability(cups)
    followed, placed = bool((served.previous >= 0).any()), float(np.ptp(served.position)) > 0
    return FlightResult(
        standings=stand,
        controls=barred,
        settled=settled,
        settled_at=SETTLED,
        expected_loss=float(drawn[:, free].max(axis=1).mean()) - stand[0].mean if stand else None,
        next=further,
        spreads=_spreads(draws, served),
        tasters=_taster_effects(draws, served, repeated=repeated_by),
        carry_over=Estimate.of(draws.carry_over) if followed else None,
        position=Estimate.of(draws.position) if placed else None,
        first_cup=Estimate.of(draws.first_cup) if placed else None,
        repeatability_sd=repeated,
        friedman=test,
        kendall_w=_concordance(full),
        rank_sums=rank_sums(full) if everyone else None,
        rank_sum_difference=(
            rank_sum_difference(tasters=len(full), lots=len(next(iter(full.values()))), alpha=ALPHA)
            if everyone
            else None
        ),
        page=page_test(table, expected_order=expected_order),
        least_significant_difference=least,
        differ=differ if test is not None and test.p < ALPHA else (),
        alpha=ALPHA,
    )


def _nothing() -> FlightResult:
    return FlightResult(
        standings=(), controls=(), settled=False, settled_at=SETTLED, expected_loss=None, next=(), spreads=None,
        tasters=(), carry_over=None, position=None, first_cup=None, repeatability_sd=None, friedman=None,
        kendall_w=None, rank_sums=None, rank_sum_difference=None, page=None, least_significant_difference=None,
        differ=(), alpha=ALPHA,
    )  # fmt: skip


def _sitting_cups(cups: ServedCups) -> int:
    """Return how many cups a sitting usually had; a taster who got but one or two could take more."""
    counts = np.bincount(cups.sitting)
    return max(int(np.median(counts)), min(_USUAL_CUPS, len(cups.lots)))


def _spreads(draws: Draws, cups: ServedCups) -> Spreads:
    cells = cups.taster * len(cups.lots) + cups.lot
    doubled = np.unique(cells).size < cells.size
    several, again = len(cups.tasters) > 1, len(cups.sittings) > len(cups.tasters)
    noise = draws.noise_sd if doubled else np.sqrt(draws.noise_sd**2 + draws.taste_sd**2)
    return Spreads(
        lots_sd=Estimate.of(draws.lot_sd),
        shift_sd=Estimate.of(draws.shift_sd) if several else None,
        gain_sd=Estimate.of(draws.gain_sd) if several else None,
        sitting_sd=Estimate.of(draws.sitting_sd) if again else None,
        taste_sd=Estimate.of(draws.taste_sd) if doubled else None,
        noise_sd=Estimate.of(noise),
    )


def _taster_effects(draws: Draws, cups: ServedCups, *, repeated: Mapping[str, float]) -> tuple[TasterEffect, ...]:
    return tuple(
        TasterEffect(
            taster=taster,
            cups=int((cups.taster == place).sum()),
            shift=Estimate.of(draws.shift[:, place]),
            gain=Estimate.of(draws.gain[:, place]),
            noise=Estimate.of(draws.taster_noise_sd[:, place]),
            repeatability_sd=repeated.get(taster),
        )
        for place, taster in enumerate(cups.tasters)
    )


def _concordance(full: ScoreTable) -> float | None:
    try:
        return concordance(np.array([list(row.values()) for row in full.values()], dtype=np.float64).T)
    except AgreementError:
        return None


def _differences(cups: ServedCups) -> tuple[float | None, tuple[tuple[str, str], ...]]:
    """Return the least significant difference and the pairs told apart by it."""
    lots = [cups.lots[place] for place in cups.lot]
    blocks = [cups.sittings[place] for place in cups.sitting]
    scores = cups.score.tolist()
    estimate = block_means(scores, lots=lots, blocks=blocks, covariates=cups.position[:, None])
    estimate = estimate or block_means(scores, lots=lots, blocks=blocks)
    if estimate is None:
        return None, ()
    least = estimate.least_differences(alpha=ALPHA)
    order = np.argsort(-estimate.means, kind="stable")
    pairs = tuple(
        (estimate.lots[high], estimate.lots[low])
        for at, high in enumerate(order)
        for low in order[at + 1 :]
        if estimate.means[high] - estimate.means[low] >= least[high, low]
    )
    return estimate.least_difference(alpha=ALPHA), pairs
