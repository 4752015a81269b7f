"""Where in a session the leading flavours change most.

What led before and not after gives way to what leads after and did not before. A flavour counts for a part of the
session when it leads in more than half of that part's infusions. One that leads only because the others fade has not
come, and one that is merely overtaken has not gone: the points of a flavour must rise or fall with it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from tastings.maths.curve.layers import Layer

MOST = 0.5
N_NAMES = 3
LEAST_CHANGE = 0.3
"""From one part of the session to the other, for a flavour to come or go (own rule). [points]"""


@dataclass(frozen=True, slots=True)
class TurningPoint:
    """Where the leading flavours change most."""

    after: int  # the last infusion before the change
    # going, coming, staying: keys that lead in most infusions up to it and not after, after it and not before, and in
    # most of both; the most constant first
    going: tuple[str, ...]
    coming: tuple[str, ...]
    staying: tuple[str, ...]
    # keys that lead in most infusions after it and not before without having grown stronger: the others fade
    left: tuple[str, ...] = ()
    # the last infusion that each of `going` leads; `after` for one that leads the very last
    gone_after: tuple[int, ...] = ()


def turning_point(
    layers: Sequence[Layer], *, points: Mapping[str, Sequence[float]] | None = None
) -> TurningPoint | None:
    """Find where the leading flavours change most.

    Parameters
    ----------
    layers : Sequence[Layer]
        One per infusion, in any order.
    points : Mapping[str, Sequence[float]], optional
        Points of each flavour at infusion 1, 2, …; one that is not in it comes and goes as it leads.

    Returns
    -------
    TurningPoint or None
        None for fewer than two infusions. Of equal places the earliest.

    Notes
    -----
    A place is worth the sum over flavours of the difference between the share of infusions each leads before and after
    it, times the root of the product of both parts' lengths: two even halves say more than one odd cup.
    """
    ordered = sorted(layers, key=lambda layer: layer.infusion)
    keys = list(dict.fromkeys(key for layer in ordered for key in layer.leading))
    best: int | None = None
    best_worth = -1.0
    for place in range(1, len(ordered)):
        before, after = ordered[:place], ordered[place:]
        shares = {key: (_share(key, before), _share(key, after)) for key in keys}
        worth = sum(abs(b - a) for b, a in shares.values()) * (len(before) * len(after)) ** 0.5
        if worth > best_worth + 1e-12:
            best, best_worth = place, worth
    return None if best is None else _turn(ordered[:best], ordered[best:], points=points or {})


def _turn(before: Sequence[Layer], after: Sequence[Layer], *, points: Mapping[str, Sequence[float]]) -> TurningPoint:
    keys = list(dict.fromkeys(key for layer in (*before, *after) for key in layer.leading))
    shares = {key: (_share(key, before), _share(key, after)) for key in keys}
    change = {key: _mean(points[key], after) - _mean(points[key], before) for key in keys if key in points}
    ahead = {key: share for key, share in shares.items() if share[1] > MOST >= share[0]}
    risen = {key: share for key, share in ahead.items() if change.get(key, LEAST_CHANGE) >= LEAST_CHANGE}
    fallen = {key: share for key, share in shares.items() if change.get(key, -LEAST_CHANGE) <= -LEAST_CHANGE}
    going = _named(fallen, weigh=lambda b, a: b - a if b > MOST >= a else 0.0)
    last_led = {key: [layer.infusion for layer in (*before, *after) if key in layer.leading][-1] for key in going}
    return TurningPoint(
        after=before[-1].infusion,
        going=going,
        coming=_named(risen, weigh=lambda b, a: a - b),
        staying=_named(shares, weigh=lambda b, a: min(b, a) if min(b, a) > MOST else 0.0),
        left=_named({key: share for key, share in ahead.items() if key not in risen}, weigh=lambda b, a: a - b),
        gone_after=tuple(
            before[-1].infusion if last_led[key] == after[-1].infusion else last_led[key] for key in going
        ),
    )


def _mean(points: Sequence[float], layers: Sequence[Layer]) -> float:
    return sum(points[layer.infusion - 1] for layer in layers) / len(layers)


def _share(key: str, layers: Sequence[Layer]) -> float:
    return sum(key in layer.leading for layer in layers) / len(layers)


def _named(shares: Mapping[str, tuple[float, float]], *, weigh: Callable[[float, float], float]) -> tuple[str, ...]:
    weight = {key: weigh(before, after) for key, (before, after) in shares.items()}
    return tuple(sorted((key for key in weight if weight[key] > 0), key=lambda key: -weight[key])[:N_NAMES])
