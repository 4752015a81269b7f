"""What one new session costs a lot that already has many: a cold fit against one with cached totals of the others.

Run from the repository root: ``python -m benchmarks.refit``. ``sums`` are the tasters' totals of all descriptors; a new
session touches its own alone. ``fit`` goes on to the posteriors, which takes a look at every session for outliers, and
``develop`` from brews to the figures shown, which sets every session beside the new curve. Both results must be equal
in every bit, or the run fails. Cold times of more and more sessions are there to see that they grow in proportion.
Medians of five runs.
"""

import argparse
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from statistics import median
from time import perf_counter
from typing import TypeVar

import numpy as np

from benchmarks.worlds import draw_leaf, draw_session, draw_team
from tastings.figures import to_stored
from tastings.maths.arrays import IntArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, Brew, validated_brews
from tastings.maths.brewing.extraction import default_grid
from tastings.maths.curve.estimate import estimate_development
from tastings.maths.curve.evidence import prepare_sessions
from tastings.maths.curve.posterior import Posterior, fit_all
from tastings.maths.curve.sufficient_statistics import SessionRatings
from tastings.maths.curve.totals_cache import TOTALS_CACHE, Group

RUNS = 5
T = TypeVar("T")


def lot_of(n_sessions: int, *, keys: list[str]) -> list[Brew]:
    """Return a simulated lot; each further descriptor is a weaker echo of the strength."""
    rng = np.random.default_rng([606, n_sessions])
    leaf, team = draw_leaf(rng), draw_team(rng)
    brews = []
    for number in range(n_sessions):
        brew = draw_session(leaf, team, number=number, rng=rng, line=2.5)
        pours = tuple(
            replace(pour, ratings={k: correlated_rating(pour.ratings["strength"], i, rng) for i, k in enumerate(keys)})
            if pour.ratings
            else pour
            for pour in brew.pours
        )
        brews.append(replace(brew, pours=pours))
    return brews


def correlated_rating(rating: float, i: int, rng: np.random.Generator) -> float:
    return rating if i == 0 else float(np.clip(rating * (1 - 0.07 * i) + rng.integers(-1, 2) / 2, LOWEST, HIGHEST))


def timed(run: Callable[[], T], *, before: Callable[[], object]) -> tuple[T, float]:
    """Return the result and the median of the seconds; ``before`` runs before each and is not counted."""
    seconds, results = [], []
    for _ in range(RUNS):
        before()
        begun = perf_counter()
        results.append(run())
        seconds.append(perf_counter() - begun)
    return results[0], median(seconds)


def tasted_of(brews: list[Brew], *, keys: list[str]) -> dict[str, list[SessionRatings]]:
    followed, _ = prepare_sessions(validated_brews(brews), grid=default_grid(), scales={})
    return {key: [ratings for session in followed if (ratings := session.ratings_of(key))] for key in keys}


def sessions_by_taster(tasted: dict[str, list[SessionRatings]]) -> dict[Group, list[SessionRatings]]:
    groups: dict[Group, list[SessionRatings]] = {}
    for key, sessions in tasted.items():
        for session in sessions:
            groups.setdefault((key, session.taster), []).append(session)
    return groups


def rated_keys(n_keys: int) -> list[str]:
    return ["strength", *(f"descriptor {i}" for i in range(1, n_keys))]


def develop(brews: list[Brew], *, keys: list[str]) -> dict[str, object]:
    return dict(to_stored(estimate_development(brews, rated=keys)))


def same(cold: dict[str, Posterior], warm: dict[str, Posterior]) -> bool:
    return all(
        np.array_equal(getattr(cold[key], name), getattr(warm[key], name))
        for key in cold
        for name in ("weights", "mean", "sd")
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=200)
    chosen = parser.parse_args()
    print("| what | sessions | descriptors | cold s | one more session s | cold / warm | kept MiB |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for n_keys in (1, 12):
        keys = rated_keys(n_keys)
        brews = lot_of(chosen.sessions, keys=keys)
        develop_it = partial(develop, brews, keys=keys)
        all_tasted, but_one = tasted_of(brews, keys=keys), tasted_of(brews[:-1], keys=keys)

        def prepare(tasted: dict[str, list[SessionRatings]] = but_one) -> None:
            TOTALS_CACHE.clear()
            fit_all(tasted, grid=default_grid())

        def sum_up(tasted: dict[str, list[SessionRatings]] = all_tasted) -> dict[Group, IntArray]:
            return TOTALS_CACHE.totals(sessions_by_taster(tasted), grid=default_grid())

        def fit_them(tasted: dict[str, list[SessionRatings]] = all_tasted) -> dict[str, Posterior]:
            return fit_all(tasted, grid=default_grid())

        sums, sums_cold_s = timed(sum_up, before=TOTALS_CACHE.clear)
        more_sums, sums_warm_s = timed(sum_up, before=prepare)
        cold, cold_s = timed(fit_them, before=TOTALS_CACHE.clear)
        warm, warm_s = timed(fit_them, before=prepare)
        cold_shown, all_cold_s = timed(develop_it, before=TOTALS_CACHE.clear)
        warm_shown, all_warm_s = timed(develop_it, before=prepare)
        equal = all(np.array_equal(sums[group], more_sums[group]) for group in sums)
        if not equal or not same(cold, warm) or cold_shown != warm_shown:
            sys.exit("a refit differs from the cold fit")
        for step, slow, fast in (
            ("sums", sums_cold_s, sums_warm_s),
            ("fit", cold_s, warm_s),
            ("develop", all_cold_s, all_warm_s),
        ):
            print(
                f"| {step} | {chosen.sessions} | {n_keys} | {slow:.4f} | {fast:.4f} | {slow / fast:.1f} |"
                f" {TOTALS_CACHE.n_bytes / 2**20:.1f} |",
                flush=True,
            )
    print("\n| sessions | develop, cold, 1 descriptor s | 12 descriptors s |\n| --- | --- | --- |")
    for n_sessions in (1, 8, 50, 100, 200, 400):
        seconds = []
        for n_keys in (1, 12):
            keys = rated_keys(n_keys)
            develop_it = partial(develop, lot_of(n_sessions, keys=keys), keys=keys)
            seconds.append(timed(develop_it, before=TOTALS_CACHE.clear)[1])
        print(f"| {n_sessions} | {seconds[0]:.3f} | {seconds[1]:.3f} |", flush=True)


if __name__ == "__main__":
    main()
