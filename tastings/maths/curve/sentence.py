"""What changes in the cup, in one sentence that can be said over a counter.

Of all places between two infusions the one is taken at which the leading flavours change most; what led before and not
after gives way to what leads after and did not before. The words are the figures': a flavour counts for a part of the
session when it leads in more than half of that part's infusions.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from tastings.maths.curve.layers import Layer

MOST = 0.5
N_NAMES = 3
_ORDINALS = (
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
)


@dataclass(frozen=True, slots=True)
class Turn:
    """Where the leading flavours change most.

    Parameters
    ----------
    after : int
        The last infusion before the change.
    going, coming, staying : tuple[str, ...]
        Keys that lead in most infusions up to it and not after, after it and not before, and in most of both; the most
        constant first.
    """

    after: int
    going: tuple[str, ...]
    coming: tuple[str, ...]
    staying: tuple[str, ...]


def turn(layers: Sequence[Layer]) -> Turn | None:
    """Find where the leading flavours change most.

    Parameters
    ----------
    layers : Sequence[Layer]
        One per infusion, in any order.

    Returns
    -------
    Turn or None
        None for fewer than two infusions. Of equal places the earliest.

    Notes
    -----
    A place is worth the sum over flavours of the difference between the share of infusions each leads before and after
    it, times the root of the product of both parts' lengths: two even halves tell more than one odd cup.
    """
    ordered = sorted(layers, key=lambda one: one.infusion)
    keys = list(dict.fromkeys(key for one in ordered for key in one.leading))
    best, best_worth = None, -1.0
    for place in range(1, len(ordered)):
        before, after = ordered[:place], ordered[place:]
        shares = {key: (_share(key, before), _share(key, after)) for key in keys}
        worth = sum(abs(b - a) for b, a in shares.values()) * (len(before) * len(after)) ** 0.5
        if worth > best_worth + 1e-12:
            best_worth = worth
            best = Turn(
                after=before[-1].infusion,
                going=_named(shares, weigh=lambda b, a: b - a if b > MOST >= a else 0.0),
                coming=_named(shares, weigh=lambda b, a: a - b if a > MOST >= b else 0.0),
                staying=_named(shares, weigh=lambda b, a: min(b, a) if min(b, a) > MOST else 0.0),
            )
    return best


def sentence(layers: Sequence[Layer], *, labels: Mapping[str, str]) -> str:
    """Say what changes from cup to cup.

    Parameters
    ----------
    layers : Sequence[Layer]
        One per infusion, in any order.
    labels : Mapping[str, str]
        Label by descriptor key; a key without one is written with spaces.

    Returns
    -------
    str
        One sentence, labels in lower case.

    Examples
    --------
    >>> cups = [("honey", "malt")] * 3 + [("pine", "stone_fruit")] * 3
    >>> found = [Layer(n, leading, (), (), 2.0) for n, leading in enumerate(cups, start=1)]
    >>> sentence(found, labels={"honey": "Honey"})
    'Honey and malt give way to pine and stone fruit after the third.'
    """
    if not layers:
        return "We cannot tell yet what changes from cup to cup."
    if not any(one.leading for one in layers):
        return "No flavour stands out in any cup."
    found = turn(layers)
    if found is None:
        only = layers[0]
        return _capital(f"{_subject(only.leading, labels, verb='lead')} the {ordinal(only.infusion)} cup.")
    last = max(one.infusion for one in layers)
    place = f"after the {ordinal(found.after)}"
    stays = f"; {_subject(found.staying, labels, verb='stay')} throughout" if found.staying else ""
    match bool(found.going), bool(found.coming):
        case True, True:
            coming = _listed([spoken(key, labels) for key in found.coming])
            said = f"{_subject(found.going, labels, verb='give')} way to {coming} {place}{stays}."
        case True, False:
            said = f"{_subject(found.going, labels, verb='step')} back {place}{stays}."
        case False, True:
            said = f"{_subject(found.coming, labels, verb='come')} to the fore {place}{stays}."
        case _:
            said = (
                f"{_subject(found.staying, labels, verb='lead')} from the first cup to the {ordinal(last)}."
                if found.staying
                else "no flavour leads for long: what stands out changes from cup to cup."
            )
    return _capital(said)


def spoken(key: str, labels: Mapping[str, str]) -> str:
    """Return a label as it stands inside a sentence: small first letter, unless it is an abbreviation.

    Examples
    --------
    >>> spoken("stone_fruit", {"stone_fruit": "Stone fruit"}), spoken("x", {"x": "CTC leaf"})
    ('stone fruit', 'CTC leaf')
    """
    label = labels.get(key) or key.replace("_", " ")
    return label if label[1:2].isupper() else label[:1].lower() + label[1:]


def ordinal(number: int) -> str:
    """Return first, second, ... twelfth in words, then 13th and so on.

    Examples
    --------
    >>> ordinal(3), ordinal(13), ordinal(22)
    ('third', '13th', '22nd')
    """
    if 1 <= number <= len(_ORDINALS):
        return _ORDINALS[number - 1]
    ending = "th" if 10 < number % 100 < 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def _share(key: str, layers: Sequence[Layer]) -> float:
    return sum(key in one.leading for one in layers) / len(layers)


def _named(shares: Mapping[str, tuple[float, float]], *, weigh: Callable[[float, float], float]) -> tuple[str, ...]:
    weight = {key: weigh(before, after) for key, (before, after) in shares.items()}
    return tuple(sorted((key for key in weight if weight[key] > 0), key=lambda key: -weight[key])[:N_NAMES])


def _subject(keys: Sequence[str], labels: Mapping[str, str], *, verb: str) -> str:
    names = _listed([spoken(key, labels) for key in keys])
    return f"{names} {verb if len(keys) > 1 else verb + 's'}"


def _listed(names: Sequence[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
