"""The grid posterior against a sampler (emcee) on the same model: how far apart, and how much faster.

Run from the repository root: ``python -m benchmarks.fit_against_sampler``. The sampler has no grid and nothing
integrated out: log k, log tau, n, log sigma and a are continuous and the covariance of all ratings of a lot is written
out in full. Two ensembles of walkers, each with its own random numbers, start at the peak of the posterior: started
elsewhere some walkers strayed for good. Their samples are cut into blocks of some twenty autocorrelation times; the
spread between blocks is the sampler's own error, shown beside the differences: a ratio of standard deviations cannot be
known better than that. Prints one markdown row per lot and whether all requirements passed. One core; about 25
minutes. ``docs/measured.md`` has a run.

With ``--gain-of-level`` the columns of the tasters' gains get the level ``a`` of each step instead of the first
estimate that the grid uses, which shows what that estimate costs: there the spread between tasters passes for news
about the lot.
"""

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass
from time import perf_counter

import emcee
import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import minimize

from benchmarks.worlds import draw_leaf, draw_session, draw_team
from tastings.maths.arrays import FloatArray, IndexArray
from tastings.maths.brewing.brews import Brew, TasterScale, validated_brews
from tastings.maths.brewing.even_brew import even_brew
from tastings.maths.brewing.extraction import (
    K_SPREAD,
    MAKES,
    REFERENCE_SHARE,
    TAU_SPREAD,
    cup_strength,
    default_grid,
    extracted_shares,
    perceived_strength,
)
from tastings.maths.brewing.heat import Steeping, steeping_of
from tastings.maths.curve.evidence import PreparedSession, prepare_sessions
from tastings.maths.curve.level import LEVEL_MEAN, LEVEL_SD, USUAL_SIGMA, level_estimate, level_precision_and_cross
from tastings.maths.curve.posterior import LESS_NOISE, MORE_NOISE, fit
from tastings.maths.curve.scale_effects import expected_absent_tasters, unknown_shift_sd
from tastings.maths.curve.sufficient_statistics import SESSION_GAIN_SD, SIGMA, session_shift_sd
from tastings.maths.curve.totals_cache import TOTALS_CACHE

DESCRIPTOR = "strength"
WALKERS = 32
ENSEMBLES, BLOCKS = 2, 5
SPREAD = (0.05, 0.05, 0.02, 0.05, 0.1)
"""How far from the peak the walkers start: log k, log tau, n, log sigma, a."""
TEST_SEED = 505
MAX_DIFFERENCE, RATIO, MIN_SPEEDUP = 0.1, (0.95, 1.05), 500.0
"""What is asked for: of the mean curve [points], of the standard deviations, and of the times."""


@dataclass(frozen=True, slots=True)
class LotRatings:
    """A lot's ratings in one row, and which session and taster each belongs to."""

    steepings: list[Steeping]
    index: list[IndexArray]
    ratings: FloatArray
    session: IndexArray
    taster: IndexArray
    n_absent: float

    @classmethod
    def of(cls, followed: tuple[PreparedSession, ...]) -> "LotRatings":
        """Lay out the sessions that rated the descriptor."""
        tasted = [ratings for session in followed if (ratings := session.ratings_of(DESCRIPTOR))]
        names = sorted({session.taster for session in tasted})
        session = np.repeat(np.arange(len(tasted)), [session.ratings.size for session in tasted])
        return cls(
            steepings=[session.steeping for session in tasted],
            index=[session.index for session in tasted],
            ratings=np.concatenate([session.ratings for session in tasted]),
            session=session,
            taster=np.array([names.index(tasted[i].taster) for i in session]),
            n_absent=expected_absent_tasters([sum(row.taster == name for row in tasted) for name in names]),
        )

    def cups(self, step: FloatArray) -> list[FloatArray]:
        """Return h of each session's rated pours at one point (log k, log tau, n, ...)."""
        return [cups_of(steeping, step)[i] for steeping, i in zip(self.steepings, self.index, strict=True)]


def on_the_grid(brews: list[Brew]) -> tuple[FloatArray, FloatArray, float]:
    """Return mean and sd of the even-brew curve, and the seconds from brews to both."""
    TOTALS_CACHE.clear()  # a cold fit
    begun = perf_counter()
    grid = default_grid()
    followed, _ = prepare_sessions(validated_brews(brews), grid=grid, scales={})
    posterior = fit([ratings for session in followed if (ratings := session.ratings_of(DESCRIPTOR))], grid=grid)
    even = even_brew()
    cups = cup_strength(steeping_of(even, even.pours), grid=grid)[:, 1:]
    mean = posterior.node_level @ cups
    square = (posterior.weights * (posterior.mean**2 + posterior.sd**2)).sum(axis=0) @ cups**2
    return mean, np.sqrt(square - mean**2), perf_counter() - begun


@dataclass(frozen=True, slots=True)
class Sampled:
    """Mean and sd of the even-brew curve by sampling, the standard error of each [points], and the seconds taken."""

    mean: FloatArray
    sd: FloatArray
    mean_error: FloatArray
    sd_error: FloatArray
    seconds: float

    @classmethod
    def of(cls, blocks: FloatArray, *, seconds: float) -> "Sampled":
        """Sum up blocks of curves, float64[n_blocks, n_draws, n_infusions], that know nothing of each other."""
        mean = blocks.mean(axis=(0, 1))
        square = ((blocks - mean) ** 2).mean(axis=1)
        sd = np.sqrt(square.mean(axis=0))
        root = np.sqrt(len(blocks))
        return cls(
            mean=mean,
            sd=sd,
            mean_error=blocks.mean(axis=1).std(axis=0, ddof=1) / root,
            sd_error=square.std(axis=0, ddof=1) / root / (2 * sd),
            seconds=seconds,
        )


def by_sampling(followed: tuple[PreparedSession, ...], *, steps: int, start: int, gain_of_level: bool) -> Sampled:
    """Return the same by sampling, the first sixth of each ensemble's steps discarded."""
    begun = perf_counter()
    density = log_density(followed, gain_of_level=gain_of_level)
    usual = np.array([np.log(0.25), np.log(30.0), 0.7, np.log(0.75), LEVEL_MEAN])

    def lacking(step: FloatArray) -> float:
        return min(-density(step), 1e9)

    peak = np.asarray(minimize(lacking, usual, method="Nelder-Mead").x, dtype=np.float64)
    even = even_brew()
    steeping = steeping_of(even, even.pours)
    blocks = []
    for ensemble in range(ENSEMBLES):
        rng = np.random.default_rng([start, ensemble])
        moves = [(emcee.moves.StretchMove(), 0.5), (emcee.moves.DEMove(), 0.5)]
        sampler = emcee.EnsembleSampler(WALKERS, peak.size, density, moves=moves)
        sampler.random_state = np.random.RandomState(int(rng.integers(2**31))).get_state()
        sampler.run_mcmc(peak + rng.normal(0, SPREAD, (WALKERS, peak.size)), steps)
        samples = sampler.get_chain(discard=steps // 6, thin=5)
        curves = np.array([step[4] * cups_of(steeping, step)[1:] for step in samples.reshape(-1, peak.size)])
        blocks += np.array_split(curves, BLOCKS)
    least = min(map(len, blocks))
    return Sampled.of(np.stack([block[:least] for block in blocks]), seconds=perf_counter() - begun)


def cups_of(steeping: Steeping, step: FloatArray) -> FloatArray:
    """Return h of each pour at one point (log k, log tau, n, ...)."""
    share = extracted_shares(steeping, k_per_min=np.exp(step[:1]), tau_s=np.exp(step[1:2]))[0, 0]
    return perceived_strength(np.maximum(share, 1e-9) * steeping.ratio / REFERENCE_SHARE, n=step[2:3])


def log_density(followed: tuple[PreparedSession, ...], *, gain_of_level: bool) -> Callable[[FloatArray], float]:
    """Return the log density of (log k, log tau, n, log sigma, a), the covariance of all ratings written out."""
    lot, scale, grid = LotRatings.of(followed), TasterScale(), default_grid()
    same_session, same_taster = lot.session[:, None] == lot.session, lot.taster[:, None] == lot.taster
    own_scale = same_taster - 1 / (len(set(lot.taster.tolist())) + lot.n_absent)
    low = np.log([grid.k_per_min[0], grid.tau_s[0], 1.0, SIGMA[0]])
    high = np.log([grid.k_per_min[-1], grid.tau_s[-1], 1.0, SIGMA[-1]])
    # A node stands for half a step on either side of it; there are only so many exponents, so n ends at the last.
    edge = np.array([np.diff(np.log(axis))[0] / 2 for axis in (grid.k_per_min, grid.tau_s, np.ones(2), SIGMA)])
    low, high = low - edge, high + edge
    step_n = grid.n[1] - grid.n[0]
    low[2], high[2] = grid.n[0] - step_n / 2, min(grid.n[-1] + step_n / 2, 1.0)

    def log_density(step: FloatArray) -> float:
        if np.any(step[:4] < low) or np.any(step[:4] > high):
            return -np.inf
        log_k, log_tau, n, log_sigma, level = step
        log_noise = log_sigma - np.log(USUAL_SIGMA)
        total = -0.5 * (
            ((n - 0.7) / 0.25) ** 2
            + (log_noise / (MORE_NOISE if log_noise > 0 else LESS_NOISE)) ** 2
            + ((level - LEVEL_MEAN) / LEVEL_SD) ** 2
        )
        total += np.logaddexp.reduce(
            [
                -0.5 * ((log_k - np.log(make.k_per_min)) / K_SPREAD) ** 2
                - 0.5 * ((log_tau - np.log(make.tau_s)) / TAU_SPREAD) ** 2
                for make in MAKES
            ]
        )
        each = lot.cups(step)
        parts = [
            level_precision_and_cross(cups[None], ratings)
            for cups, ratings in zip(each, np.split(lot.ratings, np.flatnonzero(np.diff(lot.session)) + 1), strict=True)
        ]
        own = np.concatenate([level_estimate(*part) * cups for part, cups in zip(parts, each, strict=True)])
        first_level = float(level_estimate(*sum(parts[1:], parts[0]))[0])
        cups = np.concatenate(each)
        tasters = (level if gain_of_level else first_level) * scale.gain_sd * cups
        covariance = (
            session_shift_sd(np.exp(log_sigma)) ** 2 * same_session
            + np.outer(own, own) * SESSION_GAIN_SD**2 * same_session
        )
        covariance += unknown_shift_sd(np.exp(log_sigma)) ** 2 * own_scale
        covariance += np.outer(tasters, tasters) * own_scale
        covariance[np.diag_indices(lot.ratings.size)] += np.exp(2 * log_sigma)
        root = np.linalg.cholesky(covariance)
        residual = solve_triangular(root, lot.ratings - level * cups, lower=True, check_finite=False)
        total += -0.5 * float(residual @ residual) - float(np.log(np.diag(root)).sum())
        return float(total)

    return log_density


@dataclass(frozen=True, slots=True)
class ComparisonRow:
    """One lot: the grid set beside the sampler."""

    lot: int
    off: FloatArray
    off_error: FloatArray
    ratio: FloatArray
    ratio_error: FloatArray
    grid_s: float
    sampler_s: float

    @property
    def speedup(self) -> float:
        """Return how many times as fast the grid is."""
        return self.sampler_s / self.grid_s

    @property
    def holds(self) -> bool:
        """Whether what is asked for holds."""
        low, high = RATIO
        return bool(
            np.abs(self.off).max() <= MAX_DIFFERENCE
            and low <= self.ratio.min()
            and self.ratio.max() <= high
            and self.speedup >= MIN_SPEEDUP
        )

    def __str__(self) -> str:
        return (
            f"| {self.lot} | {np.abs(self.off).max():.3f} | {self.off_error.max():.3f} "
            f"| {self.ratio.min():.3f} | {self.ratio.max():.3f} | {self.ratio_error.max():.3f} "
            f"| {self.grid_s:.4f} | {self.sampler_s:.1f} | {self.speedup:,.0f} x |"
        )


HEADS = (
    "| lot | mean curve, largest difference | sampler's error of it | ratio of sds, lowest | highest | sampler's error "
    "| grid s | sampler s | faster |\n" + "| ---: " * 9 + "|"
)


def row_of(brews: list[Brew], *, lot: int, steps: int, gain_of_level: bool) -> ComparisonRow:
    """Fit a lot both ways."""
    runs = [on_the_grid(brews) for _ in range(5)]
    mean, sd, _ = runs[0]
    followed, _ = prepare_sessions(validated_brews(brews), grid=default_grid(), scales={})
    sampled = by_sampling(followed, steps=steps, start=lot, gain_of_level=gain_of_level)
    ratio = sd / sampled.sd
    return ComparisonRow(
        lot=lot,
        off=mean - sampled.mean,
        off_error=sampled.mean_error,
        ratio=ratio,
        ratio_error=ratio * sampled.sd_error / sampled.sd,
        grid_s=float(np.median([seconds for _, _, seconds in runs])),
        sampler_s=sampled.seconds,
    )


def at_an_end(brews: list[Brew]) -> bool:
    """Whether some rating is at an end of the scale; these are handled before either of the two."""
    return any(rating in {0.0, 10.0} for brew in brews for pour in brew.pours for rating in pour.ratings.values())


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lots", type=int, default=12)
    parser.add_argument("--sessions", type=int, default=8)
    parser.add_argument("--steps", type=int, default=3000, help="of each of the two ensembles")
    parser.add_argument("--gain-of-level", action="store_true")
    chosen = parser.parse_args()
    print(HEADS, flush=True)
    lot, rows = 0, list[ComparisonRow]()
    while len(rows) < chosen.lots:
        rng = np.random.default_rng([TEST_SEED, lot])
        leaf, team = draw_leaf(rng), draw_team(rng)
        brews = [draw_session(leaf, team, number=i, rng=rng) for i in range(chosen.sessions)]
        lot += 1
        if at_an_end(brews):
            continue
        rows.append(row_of(brews, lot=lot, steps=chosen.steps, gain_of_level=chosen.gain_of_level))
        print(rows[-1], flush=True)
    missed = [str(row.lot) for row in rows if not row.holds]
    print(f"\nWhat is asked for holds for {len(rows) - len(missed)} of {len(rows)} lots", end="")
    print("." if not missed else f"; not for {', '.join(missed)}.")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
