"""What the figures say, in plain English for the shop counter, with how sure they are."""

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from tastings.maths.curve.layers import Layer
from tastings.maths.curve.sentence import sentence

# Classes of characters (Unicode's bidirectional algorithm) that leave a sentence running from left to right.
_LEFT_TO_RIGHT = frozenset({"L", "EN", "ES", "ET", "CS", "NSM", "BN", "B", "S", "WS", "ON", ""})
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
PROFILE_WORDS = {
    "build_up": "builds up",
    "steady": "stays steady",
    "quick_fade": "fades quickly",
    "undecided": "cannot tell yet",
}
DEPARTURE_WORDS = {
    "cool_water": "cooler water",
    "long_steep": "longer steep",
    "short_steep": "shorter steep",
    "leaf_ratio": "leaf to water",
    "cold_vessel": "cold vessel",
}
_SIGN = {"cool_water": -1, "short_steep": -1, "cold_vessel": -1, "long_steep": 1}  # what each does to a cup by itself
_TOLD = re.compile(r"[0-9.]+ points (weaker|stronger)")
# The even brew is worked out to here (contract), so a count that reaches it may well be higher.
LAST_INFUSION = 12


def figure(value: object) -> str:
    """Write a number without needless zeros; what is no number is returned as text."""
    return f"{value:g}" if isinstance(value, int | float | Decimal) else str(value)


def percent(probability: float) -> str:
    """Write a probability for people; never a round 0 or 100, which no amount of tasting can give."""
    if probability > 0.99:
        return "more than 99\u00a0%"
    if probability < 0.01:
        return "less than 1\u00a0%"
    return f"{round(probability * 100)}\u00a0%"


def one_decimal(value: float) -> str:
    """Write points on the 0 to 10 scale with one decimal and a true minus sign."""
    written = f"{value:.1f}"
    return "0.0" if written == "-0.0" else written.replace("-", "\u2212")


def two_decimals(value: float) -> str:
    """Write a coefficient with two decimals and a true minus sign."""
    written = f"{value:.2f}"
    return "0.00" if written == "-0.00" else written.replace("-", "\u2212")


def signed(value: float, *, places: int = 1) -> str:
    """Write a difference with its sign, a true minus or a plus.

    Examples
    --------
    >>> signed(0.31), signed(-0.04), signed(-0.07, places=2)
    ('+0.3', '0.0', '\u22120.07')
    """
    written = f"{value:+.{places}f}"
    return written[1:] if not float(written) else written.replace("-", "\u2212")


def plain(key: object, labels: Mapping[str, str] | None = None) -> str:
    """Return a descriptor's label, or its key made readable when there is none."""
    return (labels or {}).get(str(key)) or str(key).replace("_", " ").capitalize()


def isolated(text: str) -> str:
    """Keep right-to-left writing in a name from turning the rest of the sentence round.

    Marks that open or close a stretch of one direction are taken out: one too many would end the isolation early.
    """
    plain = "".join(c for c in text if c not in _TURNING)
    turns = any(unicodedata.bidirectional(c) not in _LEFT_TO_RIGHT for c in plain)
    return f"\u2068{plain}\u2069" if turns else plain


def listed(parts: Iterable[str]) -> str:
    """Join words as one would say them: a, b and c."""
    *most, last = list(parts) or [""]
    return f"{', '.join(most)} and {last}" if most else last


def counted(count: int, noun: str, *, plural: str = "") -> str:
    """Write a count with its noun: 1 session, 3 sessions."""
    return f"{count} {noun if count == 1 else plural or noun + 's'}"


def numbers_listed(numbers: Iterable[int]) -> str:
    """Write whole numbers with runs drawn together.

    Examples
    --------
    >>> numbers_listed([5, 1, 2, 3])
    '1 to 3 and 5'
    """
    runs: list[list[int]] = []
    for n in sorted(set(numbers)):
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    return listed(
        part for run in runs for part in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(n) for n in run])
    )


def profile_words(profile: Mapping[str, Any] | None) -> str:
    """Say the profile's label in two or three words; "cannot tell yet" when there is none."""
    return PROFILE_WORDS.get(str((profile or {}).get("label")), PROFILE_WORDS["undecided"])


def profile_sentence(profile: Mapping[str, Any] | None) -> str:
    """Say how strength develops over the even brew, and how sure that is.

    Parameters
    ----------
    profile : mapping or None
        ``profile`` of the development record. ``rise`` is the peak over the first cup [ratio],
        ``peak_infusion`` and ``half_strength_infusion`` are infusion numbers or None.
    """
    chances = dict((profile or {}).get("probability") or {})
    if not profile or len({round(chance, 6) for chance in chances.values()}) < 2:
        return "We cannot tell yet how this tea develops: nothing has been tasted that would show it."
    label = str(profile.get("label"))
    if label not in chances:
        ranked = sorted(chances.items(), key=lambda item: -item[1])
        spread = listed(f"{PROFILE_WORDS.get(name, plain(name))} {percent(chance)}" for name, chance in ranked)
        return f"We cannot tell yet how this tea develops ({spread})."
    peak, rise, half = (profile.get(name) for name in ("peak_infusion", "rise", "half_strength_infusion"))
    at = f"infusion {peak:.0f}" if peak is not None else "no infusion in particular"
    sure = f"We are {percent(chances[label])} sure of this."
    fallen = f"; it falls to half of that by about infusion {half:.0f}" if half is not None else ""
    if label == "build_up":
        more = f", about {round((rise - 1) * 100)}\u00a0% above the first cup" if rise is not None and rise > 1 else ""
        return f"This tea builds up: it is strongest at about {at}{more}{fallen}. {sure}"
    if label == "quick_fade":
        gone = f", to half of that by about infusion {half:.0f}" if half is not None else ""
        return f"This tea fades quickly: it is strongest at about {at} and drops early{gone}. {sure}"
    return (
        f"This tea stays steady: it is strongest at about {at}, without a late climb or an early drop{fallen}. {sure}"
    )


def count_words(count: float, *, most: int = LAST_INFUSION) -> str:
    """Write a number of steeps; the last one worked out stands for itself and all beyond."""
    return f"{count:.0f} or more" if count >= most else f"{count:.0f}"


def steep_span(steeps: Mapping[str, Any]) -> str:
    """Write the count of steeps with its range, where there is one."""
    count, low, high = (steeps.get(f) for f in ("recommended", "low", "high"))
    told = count_words(float(count or 0))
    if low is None or high is None or low == count == high:
        return told
    return f"{told} ({low:.0f} to {count_words(high)})"


def steeps_sentence(steeps: Mapping[str, Any] | None, *, most: int = LAST_INFUSION) -> str:
    """Say how many even-brew steeps are worth drinking, with the range that holds the count.

    Parameters
    ----------
    steeps : mapping or None
        ``steeps`` of the development record: counts of infusions, ``level`` of the range, ``finish_line``
        on the 0 to 10 strength scale.
    most : int
        Number of infusions that were worked out; a count that reaches it is told as "or more".
    """
    if not steeps or steeps.get("recommended") is None:
        return "We cannot tell yet how many steeps this tea is worth."
    recommended = steeps["recommended"]
    line = steeps.get("finish_line")
    above = f" before strength falls to the finish line of {one_decimal(line)}" if line is not None else ""
    if recommended <= 0:
        first = "On the even brew no cup is more likely than not to be above the finish line"
    elif recommended >= most:
        first = f"Good for {count_words(recommended, most=most)} steeps; the even brew is worked out no further"
    else:
        first = f"Good for {counted(round(recommended), 'steep')}{above}"
    low, high = steeps.get("low"), steeps.get("high")
    if low is None or high is None:
        return f"{first}. How far this could be off is not known yet."
    level = percent(steeps.get("level", 0.8))
    if low == high:
        return f"{first}. With {level} probability it is {count_words(low, most=most)}."
    return f"{first}. With {level} probability the count lies between {low:.0f} and {count_words(high, most=most)}."


def departure_sentences(development: Mapping[str, Any], *, session_names: Mapping[str, str] | None = None) -> list[str]:
    """Say what was brewed differently and is allowed for, one sentence per session, kind and detail.

    Parameters
    ----------
    development : mapping
        The development record; of each departure ``effect`` is how far it moved the cup [points, 0 to 10] and
        ``detail`` the figures in words.
    session_names : mapping, optional
        Readable names by session id, in the order wanted; without one the sentence says "One session".
    """
    groups: dict[tuple[str, str, str], list[Mapping[str, Any]]] = {}
    places = {session: place for place, session in enumerate(session_names or {})}
    found_in_order = sorted(
        development.get("departures") or (), key=lambda one: places.get(str(one.get("session")), len(places))
    )
    for departure in found_in_order:
        alike = (str(departure.get("session")), str(departure.get("kind")), str(departure.get("detail") or ""))
        groups.setdefault(alike, []).append(departure)
    return [
        _departure_sentence(isolated((session_names or {}).get(session, "One session")), kind, isolated(detail), found)
        for (session, kind, detail), found in groups.items()
    ]


def _departure_sentence(session: str, kind: str, detail: str, found: Sequence[Mapping[str, Any]]) -> str:
    numbers = sorted({int(d["infusion"]) for d in found if d.get("infusion") is not None})
    whole = "cups on average" in detail
    which = f", {'infusion' if len(numbers) == 1 else 'infusions'} {numbers_listed(numbers)}"
    where = which if numbers and not whole else ""
    effects = [float(d["effect"]) for d in found if d.get("effect") is not None]
    told = bool(_TOLD.search(detail))
    effect = "" if told or not effects else f" {_effect_words(effects)}"
    figures = f": {detail.rstrip('. ')}" if detail else ""
    why = _turned(kind, effects[0]) if whole and effects else ""
    return f"{session}{where}, {DEPARTURE_WORDS.get(kind, plain(kind).lower())}{figures}.{effect}{why}"


def _turned(kind: str, effect: float) -> str:
    """Say why a weaker brew made stronger cups: it leaves more in the leaf; or the other way round."""
    if _SIGN.get(kind, 0) * effect >= 0:
        return ""
    less, more = ("less", "more") if effect > 0 else ("more", "less")
    return f" It took {less} early and left {more} for later."


def _effect_words(effects: Sequence[float]) -> str:
    low, high = min(effects), max(effects)
    if one_decimal(low) == one_decimal(high) == "0.0":
        return "It hardly changed the cup."
    if low >= 0 or high <= 0:
        least, largest = sorted((one_decimal(abs(low)), one_decimal(abs(high))), key=float)
        size = least if least == largest else f"{least} to {largest}"
        return f"That made the cup {size} points {'stronger' if high > 0 else 'weaker'}."
    return f"That made cups between {one_decimal(-low)} points weaker and {one_decimal(high)} points stronger."


def layer_sentence(layers: Sequence[Mapping[str, Any]], labels: Mapping[str, str]) -> str:
    """Say what changes from cup to cup, as one would over the counter.

    Parameters
    ----------
    layers : sequence of mappings
        ``layers`` of the development record, in any order.
    labels : mapping
        Labels by descriptor key.
    """
    found = [
        Layer(
            infusion=int(layer["infusion"]),
            leading=tuple(str(key) for key in layer.get("leading") or ()),
            new=tuple(layer.get("new") or ()),
            gone=tuple(layer.get("gone") or ()),
            richness=float(layer.get("richness") or 0.0),
        )
        for layer in layers
    ]
    keys = {key for layer in found for key in layer.leading}
    return sentence(found, labels={key: isolated(plain(key, labels)) for key in keys})
