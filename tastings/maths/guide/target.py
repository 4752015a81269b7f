"""The strength that a lot's guide aims at: the one its tasters like best, when the evidence suffices.

Each cup that somebody rated for liking is set against the strength that the lot's fitted curve gives that very cup:
evened over tasters and their noise, so that a taster who rates everything high makes no slope. Liking is then a
parabola of strength, with a shift of each session, N(0, 0.7), and one of each infusion number, N(0, 0.3), for what
liking owes to aroma and the like and not to strength. The evidence suffices when

- at least 12 cups of at least 2 sessions are rated for liking, their strengths spanning at least 2 points,
- with probability at least 0.8 the parabola has its top inside the strengths tasted, and
- the central 80 % of that top is at most 2 points wide and wholly above the finish line.

Otherwise the target is the strength of the second even-brew infusion: wetted through, and not yet drained. Leaf that
wets slowly may give next to nothing then; a target is never less than a point above the finish line, since a
steep for a cup that nobody would finish helps no one. The rule is our own. Of 30 simulated lots of six sessions, whose
liking fell by half a point per squared point away from a best strength inside the range, 25 to 29 were found; of 30
each whose liking was flat, rose or fell throughout, none or one.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from scipy.special import ndtri

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST
from tastings.maths.curve.evidence import PreparedSession
from tastings.maths.guide.leaf import KnownLeaf

LIKING = "liking"
FROM_LIKING: Literal["liking"] = "liking"
FROM_SECOND: Literal["second_infusion"] = "second_infusion"
LEAST_CUPS, LEAST_SESSIONS, LEAST_SPAN = 12, 2, 2.0
SURE = 0.8
ABOVE_LINE = 1.0
LEAST_GOAL = 0.5  # points; a miss in per cent of next to nothing says nothing
WIDEST = 2.0
_SESSION_SD, _NUMBER_SD = 0.7, 0.3
_PRIOR_SD = np.array([4.0, 2.0, 0.5])  # level [points], slope [1], curvature [1/points]
_N_DRAWS = 4096
_SPREAD = (0.7548776662466927, 0.5698402909980532)  # a rank-one lattice in two dimensions (Roberts 2018, from memory)


Reason = Literal["best_liked", "too_few_cups", "too_close", "no_clear_top", "wide_top", "near_finish_line"]


@dataclass(frozen=True, slots=True)
class Target:
    """What a guide aims at."""

    strength: float  # of the cup [points, 0 to 10]
    chosen_from: Literal["liking", "second_infusion"]
    # low, high: central 80 % of that strength [points]
    low: float
    high: float
    # cups, sessions: rated for liking, and in how many sessions
    cups: int
    sessions: int
    # `best_liked`; or why the second infusion was taken: `too_few_cups` rated for liking, `too_close` in strength
    # to compare, `no_clear_top` of liking within the strengths tasted, `wide_top` that is only roughly known,
    # `near_finish_line` where the top is not surely above it
    reason: Reason
    # float64[n_draws]: what a cup should be in each draw [points]: its own second even-brew infusion, or the same
    # strength in all
    goal: FloatArray = field(repr=False, compare=False)
    # that liking has its top inside the strengths tasted; None when too few cups were rated to ask
    probability: float | None = None
    span: float | None = None  # over how much strength the cups rated for liking lie, for `too_close` [points]
    # central 80 % of the best-liked strength for `wide_top`, its median twice for `near_finish_line` [points]
    top: tuple[float, float] | None = None
    # strength of the second infusion when that is less than a point above the finish line [points]
    raised_from: float | None = None


def target_of(known: KnownLeaf) -> Target:
    """Return what the guide of a lot aims at; its leaf must be known."""
    if known.leaf is None or known.node_level is None:
        raise ValueError("nobody has rated the strength of this lot")
    rated = _rated(known.followed, node_level=known.node_level)
    second = known.leaf.even_cups()[:, 1]
    sessions = len(set(rated.session.tolist()))
    cups = rated.liking.size
    span = float(np.ptp(rated.strength)) if cups else 0.0
    low, high = (float(x) for x in np.quantile(second, (0.1, 0.9)))
    least = known.leaf.finish_line + ABOVE_LINE

    def second_infusion(
        reason: Reason,
        *,
        probability: float | None = None,
        span: float | None = None,
        top: tuple[float, float] | None = None,
    ) -> Target:
        mean = float(second.mean())
        return Target(
            strength=max(mean, least),
            chosen_from=FROM_SECOND,
            low=max(low, least),
            high=max(high, least),
            cups=cups,
            sessions=sessions,
            reason=reason,
            raised_from=mean if mean < least else None,
            goal=np.full_like(second, least) if mean < least else np.maximum(second, LEAST_GOAL),
            probability=probability,
            span=span,
            top=top,
        )

    if cups < LEAST_CUPS or sessions < LEAST_SESSIONS:
        return second_infusion("too_few_cups")
    if span < LEAST_SPAN:
        return second_infusion("too_close", span=span)
    tops = _tops(rated)
    inside = tops[(tops >= rated.strength.min()) & (tops <= rated.strength.max())]  # a NaN is not
    probability = inside.size / tops.size
    if probability < SURE:
        return second_infusion("no_clear_top", probability=probability)
    best_low, best, best_high = (float(x) for x in np.quantile(inside, (0.1, 0.5, 0.9)))
    if best_high - best_low > WIDEST:
        return second_infusion("wide_top", probability=probability, top=(best_low, best_high))
    if best_low <= known.leaf.finish_line:
        return second_infusion("near_finish_line", probability=probability, top=(best, best))
    return Target(
        strength=best,
        chosen_from=FROM_LIKING,
        low=best_low,
        high=best_high,
        probability=probability,
        cups=cups,
        sessions=sessions,
        reason="best_liked",
        goal=np.full_like(second, best),
    )


@dataclass(frozen=True, slots=True)
class _Rated:
    """Cups rated for liking: place of their session, infusion number, strength by the curve and liking [points]."""

    session: FloatArray
    number: FloatArray
    strength: FloatArray
    liking: FloatArray


def _rated(followed: Sequence[PreparedSession], *, node_level: FloatArray) -> _Rated:
    rows: list[tuple[float, float, float, float]] = []
    for place, session in enumerate(followed):
        scale = session.scale_of(LIKING)
        index = [i for i in session.rated_indexes(LIKING) if session.pours[i].number > 0]
        if not index:
            continue
        strengths = np.clip(node_level @ session.cups[:, index], LOWEST, HIGHEST)
        rows += [
            (place, session.pours[i].number, strength, (session.pours[i].ratings[LIKING] - scale.offset) / scale.gain)
            for i, strength in zip(index, strengths.tolist(), strict=True)
        ]
    table = np.array(rows, dtype=np.float64).reshape(-1, 4)
    return _Rated(session=table[:, 0], number=table[:, 1], strength=table[:, 2], liking=table[:, 3])


def _tops(rated: _Rated) -> FloatArray:
    """Return draws of the strength at which liking is highest; NaN where the parabola has no top. [points]."""
    middle = float(rated.strength.mean())
    away = rated.strength - middle
    sessions, numbers = np.unique(rated.session), np.unique(rated.number)
    columns = np.hstack(
        [
            np.stack([np.ones_like(away), away, away**2], axis=1),
            (rated.session[:, None] == sessions).astype(np.float64),
            (rated.number[:, None] == numbers).astype(np.float64),
        ]
    )
    prior = np.concatenate([_PRIOR_SD, np.full(sessions.size, _SESSION_SD), np.full(numbers.size, _NUMBER_SD)])
    y = rated.liking - rated.liking.mean()
    gram, cross = columns.T @ columns, columns.T @ y
    variance = 1.0
    for _ in range(8):  # the noise settles within a few rounds; four ratings' worth of 1 point hold it up
        covariance = np.linalg.inv(gram / variance + np.diag(prior**-2))
        residual = y - columns @ (covariance @ cross / variance)
        n_effective = float(np.trace(covariance @ gram) / variance)
        variance = (float(residual @ residual) + 4.0) / (max(y.size - n_effective, 0.0) + 4.0)
    covariance = np.linalg.inv(gram / variance + np.diag(prior**-2))
    mean = covariance @ cross / variance
    root = np.linalg.cholesky(covariance[1:3, 1:3])
    step = np.arange(_N_DRAWS)[:, None]
    normal = ndtri(np.clip((0.5 + step * np.array(_SPREAD)) % 1.0, 1e-6, 1 - 1e-6))
    slope, curvature = (mean[1:3] + normal @ root.T).T
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(curvature < 0, middle - slope / (2 * curvature), np.nan)
