"""How each taster of a team uses the scale: gain and offset against what the others found in the same lots.

A taster's ratings of a lot are regressed on the lot's curve as the *other* tasters' sessions give it, brought to the
cups this taster really had. The regression is a ridge: gain ~ N(1, 0.15^2) and offset ~ N(0, 0.5^2) before any
evidence. Noise, the session's own gain and shift, and how well the others know the curve make the covariance, so a lot
that one other person tasted once says little. The team's mean is the scale: mean gain 1, mean offset 0.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew, TasterScale, form_of, validated_brews
from tastings.maths.brewing.extraction import Grid, make_grid
from tastings.maths.curve.censoring import impute_censored
from tastings.maths.curve.evidence import PreparedSession, prepare_sessions
from tastings.maths.curve.posterior import Posterior, posterior_from
from tastings.maths.curve.scale_effects import expected_absent_tasters, sum_tasters
from tastings.maths.curve.sufficient_statistics import (
    SESSION_GAIN_SD,
    SessionRatings,
    TasterStatistics,
    level_at_nodes,
    session_shift_sd,
    sum_sessions,
)

SWEEPS = 3
N_DRAWS = 256
_UNKNOWN = TasterScale()
_PRIOR_PRECISION = np.diag([_UNKNOWN.gain_sd**-2, _UNKNOWN.offset_sd**-2])
_PRIOR_MEAN = np.array([_UNKNOWN.gain, _UNKNOWN.offset])


@dataclass(frozen=True, slots=True)
class _Compared:
    """One session's ratings, the strengths expected from the other tasters, and the covariance of the difference."""

    ratings: FloatArray
    expected: FloatArray
    covariance: FloatArray


def calibrate(lots: Mapping[str, Sequence[Brew]], *, descriptor: str = "strength") -> dict[str, TasterScale]:
    """Return how each taster of a team uses the scale for one descriptor.

    Parameters
    ----------
    lots : Mapping[str, Sequence[Brew]]
        Sessions of each lot; only lots with at least two tasters say anything.
    descriptor : str
        Key of the descriptor.

    Returns
    -------
    dict[str, TasterScale]
        By taster, in the order of their names; those nobody else can be compared with keep gain 1 and offset 0, as
        unknown as before.

    Raises
    ------
    BrewError
        A number in a brew cannot be one.
    """
    followed = [
        prepare_sessions(validated_brews(lots[lot]), grid=_grid(form_of(lots[lot])), scales={})[0]
        for lot in sorted(lots)
    ]
    names = sorted({session.brew.taster for lot in followed for session in lot if session.ratings_of(descriptor)})
    scales = dict.fromkeys(names, _UNKNOWN)
    for _ in range(SWEEPS):
        compared: dict[str, list[_Compared]] = {name: [] for name in names}
        for lot in followed:
            _compare(lot, descriptor=descriptor, scales=scales, into=compared)
        scales = _centred({name: _ridge(compared[name]) for name in names})
    return scales


@cache
def _grid(form: str) -> Grid:
    return make_grid(n_k=16, n_tau=12, n_n=3, form=form)


def _compare(
    lot: Sequence[PreparedSession],
    *,
    descriptor: str,
    scales: Mapping[str, TasterScale],
    into: Mapping[str, list[_Compared]],
) -> None:
    known = [replace(session, scales={descriptor: scales.get(session.brew.taster, _UNKNOWN)}) for session in lot]
    sessions: dict[str, list[tuple[PreparedSession, SessionRatings]]] = {}
    for session in known:
        tasted = session.ratings_of(descriptor)
        if tasted is not None:
            sessions.setdefault(tasted.taster, []).append((session, tasted))
    if len(sessions) < 2:
        return
    grid = lot[0].grid
    totals = {taster: sum_sessions((tasted for _, tasted in own), grid=grid) for taster, own in sessions.items()}
    level = level_at_nodes(totals.values(), grid=grid)
    tasters = {taster: (TasterStatistics.of(total), sessions[taster][0][1].scale) for taster, total in totals.items()}
    for taster, own in sessions.items():
        others = sum_tasters((item for name, item in tasters.items() if name != taster), level=level)
        n_absent = max(
            expected_absent_tasters([len(theirs) for name, theirs in sessions.items() if name != taster]), 1.0
        )
        posterior = posterior_from(others, n_absent=n_absent, grid=grid)
        into[taster].extend(_sessions_against(posterior, own=own, grid=grid))


def _sessions_against(
    posterior: Posterior, *, own: Sequence[tuple[PreparedSession, SessionRatings]], grid: Grid
) -> list[_Compared]:
    draws = posterior.draws(n_draws=N_DRAWS)
    compared = []
    for session, mine in own:
        curves = draws.level[:, None] * session.cups[draws.node][:, mine.index]
        expected = curves.mean(axis=0)
        ratings = impute_censored(mine.ratings, censored=mine.censored, cups=mine.cups(session.cups), grid=grid)
        compared.append(
            _Compared(
                # Back on the taster's own scale, with ratings at an end of it where they are expected beyond.
                ratings=ratings + mine.scale.offset,
                expected=expected,
                covariance=posterior.sigma**2 * np.eye(expected.size)
                + session_shift_sd(posterior.sigma) ** 2
                + SESSION_GAIN_SD**2 * np.outer(expected, expected)
                + np.atleast_2d(np.cov(curves, rowvar=False)),
            )
        )
    return compared


def _ridge(compared: Sequence[_Compared]) -> TasterScale:
    precision = _PRIOR_PRECISION.copy()
    cross = _PRIOR_PRECISION @ _PRIOR_MEAN
    for session in compared:
        columns = np.column_stack([session.expected, np.ones(session.expected.size)])
        weighed = np.linalg.solve(session.covariance, columns)
        precision += weighed.T @ columns
        cross += weighed.T @ session.ratings
    covariance = np.linalg.inv(precision)
    gain, offset = (covariance @ cross).tolist()
    gain_sd, offset_sd = np.sqrt(np.diag(covariance)).tolist()
    return TasterScale(gain=float(np.clip(gain, 0.4, 2.0)), offset=offset, gain_sd=gain_sd, offset_sd=offset_sd)


def _centred(scales: Mapping[str, TasterScale]) -> dict[str, TasterScale]:
    if not scales:
        return {}
    gain = sum(scale.gain for scale in scales.values()) / len(scales)
    offset = sum(scale.offset for scale in scales.values()) / len(scales)
    return {
        name: replace(scale, gain=scale.gain / gain, offset=scale.offset - offset) for name, scale in scales.items()
    }
