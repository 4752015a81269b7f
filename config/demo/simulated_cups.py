"""Simulated ratings, flavours and endings of the demo's sessions, drawn from the true leaf."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from config.demo.company import Person
from config.demo.lots import DemoLot
from config.demo.sessions import DemoSession
from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, Brew

FINISH_LINE = 2.5
"""Points of strength below which these tasters call a cup spent."""
_SHARPNESS = 0.35
_CLOSE = 0.06
"""A flavour is faintly there, one time in five, this far outside its own stretch of the leaf."""


def simulate_session(demo_session: DemoSession) -> Brew:
    """Return the session's brew: pours until the end, each with its ratings and flavours."""
    lot, person, rng = demo_session.lot, demo_session.person, demo_session.rng
    brew = demo_session.brew
    true = dict(lot.leaf.cups(brew))
    true["liking"] = _liking(lot, true)
    last, ending = _end(true["strength"], demo_session=demo_session, rng=rng)
    extracted = lot.leaf.extracted(brew)
    keys = _rated_by(person, lot)
    shift = float(rng.normal(0.0, 0.2))  # a mood of the day
    pours = []
    for index, pour in enumerate(brew.pours[: last + 1]):
        if not pour.tasted:
            pours.append(pour)
            continue
        ratings = {key: _rating(float(true[key][index]) + shift, person=person, rng=rng) for key in keys}
        noted = frozenset(
            key
            for key, (low, high) in lot.leaf.flavours.items()
            if rng.random() < person.attention * _p_noticed(float(extracted[index]), low=low, high=high)
        )
        pours.append(replace(pour, ratings=ratings, noted=noted))
    more_low = more_high = None
    if ending == "stopped":
        left = int((true["strength"][last + 1 :] > FINISH_LINE).sum())
        more_low, more_high = max(left - 1, 0), left + 1
    return replace(brew, pours=tuple(pours), ending=ending, more_low=more_low, more_high=more_high)


def _liking(lot: DemoLot, true: Mapping[str, FloatArray]) -> FloatArray:
    """Return points of liking: less for a weak cup, a little less for a strong or bitter one, more for sweetness."""
    off = true["strength"] - 0.85 * lot.leaf.top
    liking = lot.leaf.charm + 0.5 * np.minimum(off, 0.0) - 0.2 * np.maximum(off, 0.0)
    if "bitterness" in true:
        liking = liking - 0.3 * np.maximum(true["bitterness"] - 3.0, 0.0)
    return np.asarray(liking + 0.15 * (true["sweetness"] - 4.0), dtype=np.float64)


def _end(strength: FloatArray, *, demo_session: DemoSession, rng: np.random.Generator) -> tuple[int, str]:
    """Return the index of the last pour and why it was the last."""
    found_spent = rng.random(strength.size) < 1 / (1 + np.exp((strength - FINISH_LINE) / _SHARPNESS))
    for index, pour in enumerate(demo_session.brew.pours):
        # A weak first cup is a leaf that has not opened yet, and nobody calls it spent.
        if pour.number >= 4 and found_spent[index]:
            return index, "spent"
        if pour.number == demo_session.last_pour_in_time:
            return index, "stopped"
    return strength.size - 1, "stopped"


def _rated_by(person: Person, lot: DemoLot) -> tuple[str, ...]:
    """Return what this person rates: the most attentive everything, the others the first two beside the overall."""
    attributes = tuple(lot.leaf.attributes)
    return ("strength", "liking", *(attributes if person.attention >= 0.85 else attributes[:3]))


def _rating(points: float, *, person: Person, rng: np.random.Generator) -> float:
    rating = person.shift + person.gain * points + float(rng.normal(0.0, person.noise))
    return float(np.clip(np.round(2 * rating) / 2, LOWEST, HIGHEST))


def _p_noticed(extracted: float, *, low: float, high: float) -> float:
    if low <= extracted <= high:
        return 1.0
    return 0.2 if low - _CLOSE <= extracted <= high + _CLOSE else 0.0
