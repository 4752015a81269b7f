"""Finds the pours of a session whose contact or water leaves what is usual in it, without blaming their neighbours.

Contacts: a session is a chain of ordinary pours. From one to the next the contact is lengthened a little, as the leaf
gives out, or a new habit begins, at any contact. Between them may stand odd pours, of any contact. The sum over all
such chains (the forward-backward sums of a hidden Markov chain, Rabiner 1989) gives the probability that a pour is
ordinary, and the ordinary pours next to an odd one give its usual contact. A median of neighbours, or a robust line
over the session (Theil 1950, Sen 1968; repeated medians, Siegel 1982), blames ordinary pours more often, above all
where steeps grow faster and faster or the habit changes: ``benchmarks/odd_pours.py``.

Water: the median of the readings. A pour whose kettle nobody read has the last reading, which may be that of the odd
pour, so it is not judged.
"""

from collections.abc import Mapping, Sequence
from math import exp, log
from statistics import median

import numpy as np

from tastings.maths.arrays import FloatArray, IndexArray

ODD = 0.05
"""Probability that a pour is odd (own value)."""
NEW_HABIT = 0.03
"""Probability that a new habit begins with a pour (own value)."""
LENGTHENED = 0.12
"""How much the log contact usually grows from pour to pour: 10, 15, 20, 25 s, or a third near the end (common practice,
no source)."""
STEP_SD = 0.2
"""How much that varies, the second pour shorter than the first among it (own value)."""
ANYWHERE = 1 / log(30.0)
"""Density of a log contact that may be anything, from 5 s to two and a half minutes."""
OTHER_CONTACT = 1.5
OTHER_CONTACT_AT_THE_ENDS = 2.5
"""Factor from which an odd contact is worth a word. The first steep and the last are lengthened on purpose, so they may
differ more (own values)."""
LEAST_POURS = 3
COOLER_C = 3.0
"""How much cooler than usual water is worth a word. [deg C]"""
_LEAST_S = 1.0


def odd_contacts(numbers: Sequence[int], contacts_s: Sequence[float]) -> Mapping[int, float]:
    """Find the odd contacts of one session.

    Parameters
    ----------
    numbers : Sequence[int]
        Infusion number of each pour, ascending; pours between them are not judged.
    contacts_s : Sequence[float]
        Their contacts. [s]

    Returns
    -------
    Mapping[int, float]
        By the place of each odd pour in ``numbers``: the contact usual around it [s]. None of fewer than three pours.

    Examples
    --------
    >>> {place: round(usual_s) for place, usual_s in odd_contacts([1, 2, 3, 4], [20, 60, 20, 25]).items()}
    {1: 20}
    """
    if len(numbers) < LEAST_POURS:
        return {}
    log_s = np.log(np.maximum(np.asarray(contacts_s, dtype=np.float64), _LEAST_S))
    at = np.asarray(numbers, dtype=np.float64)
    ordinary = np.flatnonzero(_ordinary_probability(at, log_s) > 0.5).astype(np.intp)
    odd: dict[int, float] = {}
    if not ordinary.size:
        return odd
    for place in sorted(set(range(at.size)) - set(ordinary.tolist())):
        usual = _usual_log_s(place, at=at, log_s=log_s, ordinary=ordinary)
        is_end = place in (0, at.size - 1)
        if abs(log_s[place] - usual) >= log(OTHER_CONTACT_AT_THE_ENDS if is_end else OTHER_CONTACT):
            odd[place] = exp(usual)
    return odd


def usual_water_c(water_c: Sequence[float], *, is_read: Sequence[bool]) -> float:
    """Return the water usual in a session: the median of what was read, or of all where nothing was [deg C]."""
    read_c = [heat_c for heat_c, known in zip(water_c, is_read, strict=True) if known]
    return median(read_c or water_c)


def cool_pours(water_c: Sequence[float], *, is_read: Sequence[bool]) -> Sequence[int]:
    """Return the places of the pours whose water was read as cooler than usual.

    Parameters
    ----------
    water_c : Sequence[float]
        Water of each pour; at least one. [deg C]
    is_read : Sequence[bool]
        Whether somebody read its kettle.
    """
    limit_c = usual_water_c(water_c, is_read=is_read) - COOLER_C
    return [place for place, one_c in enumerate(water_c) if is_read[place] and one_c <= limit_c]


def _ordinary_probability(at: FloatArray, log_s: FloatArray) -> FloatArray:
    """Return the probability that each pour is ordinary, float64[n_pours]."""
    n = at.size
    place = np.arange(n)
    apart = np.maximum(at[None, :] - at[:, None], 1.0)
    off = (log_s[None, :] - log_s[:, None] - LENGTHENED * apart) / (STEP_SD * np.sqrt(apart))
    lengthened = np.exp(-0.5 * off**2) / (STEP_SD * np.sqrt(2 * np.pi * apart))
    step = (1 - ODD) * ((1 - NEW_HABIT) * lengthened + NEW_HABIT * ANYWHERE)
    one_odd = ODD * ANYWHERE
    step = np.triu(step * one_odd ** np.maximum(place[None, :] - place[:, None] - 1, 0), 1)
    forward, backward = one_odd**place, one_odd ** (n - 1 - place)
    last = backward.copy()
    for i in range(1, n):
        forward[i] += forward[:i] @ step[:i, i]
    for i in range(n - 2, -1, -1):
        backward[i] += step[i, i + 1 :] @ backward[i + 1 :]
    return np.asarray(forward * backward / (forward @ last), dtype=np.float64)


def _usual_log_s(place: int, *, at: FloatArray, log_s: FloatArray, ordinary: IndexArray) -> float:
    """Return the log contact usual at a pour, from the ordinary pour before it and the one after it.

    Before the first and after the last of them it goes on by the session's median step.
    """
    before, after = ordinary[ordinary < place], ordinary[ordinary > place]
    if before.size and after.size:
        around = [before[-1], after[0]]
        return float(np.interp(at[place], at[around], log_s[around]))
    near = after[0] if after.size else before[-1]
    steps = np.diff(log_s[ordinary]) / np.diff(at[ordinary])
    return float(log_s[near] + (at[place] - at[near]) * (np.median(steps) if steps.size else 0.0))
