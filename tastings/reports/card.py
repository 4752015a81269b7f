"""The card for customers: what it says, as plain text and lists of it, and as Markdown, page and layout. Pure."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from tastings.reports.catalogue import Catalogue, catalogue
from tastings.reports.pairings import pairings
from tastings.reports.sections import guessed
from tastings.reports.words import LAST_INFUSION, isolated

MOST_GROUPS = 6
MOST_LEADING, MOST_WORDS = 2, 4  # in one line
_SAYS_NOTHING = frozenset({"aroma", "finish", "body"})  # that there is some tells a customer nothing
_UNTOLD = frozenset({"faults", "liquor look", "leaf look", "body feeling"})  # families that are for the buyer
_EVEN = {"leaf_g": 5, "vessel_ml": 110, "s": 20}
# Heat to begin with while nobody has tasted the lot (common practice, no source). [deg C]
_BEGIN_C = {
    "green": 80,
    "yellow": 85,
    "white": 90,
    "scented": 85,
    "oolong": 95,
    "black": 95,
    "dark": 100,
    "herbal": 100,
}
_BEGIN_OTHERWISE_C = 90
# What means something within a line of CommonMark or in its common extensions, and what does at a line's start.
_SPECIAL = re.compile(r"[\\`*_\[\]<>#|~&$^{}]|:(?=//)|@|(?<=www)\.", re.IGNORECASE)
_START = re.compile(r"^(\d*)([-+=.)])")


def card_facts(  # noqa: PLR0913 - one argument for each kind of record that the card tells of
    *,
    lot: Mapping[str, Any],
    development: Mapping[str, Any],
    guide: Mapping[str, Any] | None,
    labels: Mapping[str, str],
    families: Mapping[str, str],
    lang: str,
) -> dict[str, Any]:
    """Put into words what a customer should know.

    Parameters
    ----------
    lot, development
        As :func:`tastings.reports.page.report_facts` takes them.
    guide : mapping or None
        ``pot`` and the fields of ``GET …/brew-guide``.
    labels, families : mapping
        What each descriptor is called, and its family, by key.
    lang : str
        Code of a catalogue.

    Returns
    -------
    dict
        Text only. Price, supplier, shop and tasters are not in it.

    Raises
    ------
    UnknownLanguageError
        There is no catalogue of this code.
    """
    words = catalogue(lang)
    steeps = development.get("steeps") or {}
    in_pot = guide.get("last_worthwhile") if guide and guide.get("infusions") else None
    reach = int(in_pot or steeps.get("recommended") or 0)
    layers = sorted(development.get("layers") or (), key=lambda layer: layer["infusion"])
    worth = [layer for layer in layers if layer["infusion"] <= reach] or layers[:1]
    tasted = bool((development.get("evidence") or {}).get("sessions"))
    expected = _expected(worth, families) if tasted else []
    caffeine = _caffeine(guide, words)
    return {
        "lang": lang,
        "name": str(lot.get("name") or "") or words.say("title"),
        "origin": origin_line(lot, words),
        "heads": {name: words.say(name) for name in ("expect", "brew", "many", "with", "care")},
        "course": _course(development.get("profile") or {}, words) if tasted else words.say("nothing_yet"),
        "cups": _cups(expected, words, labels),
        "brew": _brew(guide, words, kind=str(lot.get("kind") or "")),
        "many": _many(steeps, guide, words) if tasted else [words.say("good_unknown")],
        "pairings": [
            {
                "text": words.say(
                    "because",
                    food=words.word("foods", one.food),
                    words=words.listed([_label(key, words, labels) for key in one.because]),
                ),
                "contains": words.say(
                    "contains", allergens=words.listed([words.word("allergens", key) for key in one.allergens])
                )
                if one.allergens
                else words.say("contains_none"),
            }
            for one in pairings([{"leading": (*cup.leading, *cup.there)} for cup in expected], families)
        ],
        "pairing_note": words.say("pairing_note"),
        "cautions": [
            words.say("scald"),
            words.say("hot"),
            " ".join(filter(None, (caffeine, words.say("herbal" if lot.get("kind") == "herbal" else "caffeine")))),
        ],
        "missing_words": words.say("missing"),
        "skip": words.say("skip"),
    }


def origin_line(lot: Mapping[str, Any], words: Catalogue) -> list[str]:
    """Say what kind of tea it is and where and when it grew, one short phrase each."""
    low, high = (lot.get(f) for f in ("elevation_low_m", "elevation_high_m"))
    season = str(lot.get("harvest_season") or "")
    when = " ".join(
        part
        for part in (
            words.word("seasons", season.lower(), otherwise=season) if season else "",
            str(lot.get("harvest_year") or ""),
        )
        if part
    )
    country = str(lot.get("country") or "")
    both = low is not None and high is not None and low != high
    height = words.say("height", low=low, high=high) if both else ""
    if not both and (low is not None or high is not None):
        height = words.say("height_one", high=high if high is not None else low)
    parts = [
        words.word("kinds", str(lot.get("kind") or "")) if lot.get("kind") else "",
        *(str(lot.get(f) or "") for f in ("cultivar", "garden", "region")),
        words.word("countries", country) if country else "",
        height,
        words.say("harvest", when=when) if when else "",
        words.say("lot", code=str(lot["code"])) if lot.get("code") else "",
    ]
    return [part for part in parts if part.strip()]


def _label(key: str, words: Catalogue, labels: Mapping[str, str]) -> str:
    return isolated(words.word("descriptors", key, otherwise=labels.get(key) or key.replace("_", " ").capitalize()))


def _course(profile: Mapping[str, Any], words: Catalogue) -> str:
    label, peak = str(profile.get("label") or "undecided"), profile.get("peak_infusion")
    if label not in ("build_up", "steady", "quick_fade") or peak is None:
        return words.say("undecided")
    return words.say(label, peak=peak)


@dataclass(frozen=True, slots=True)
class _Cup:
    """What a customer may expect of one cup: what leads, and which particular flavours are there, by key."""

    infusion: int
    leading: tuple[str, ...]
    there: tuple[str, ...]


def _expected(layers: Sequence[Mapping[str, Any]], families: Mapping[str, str]) -> list[_Cup]:
    """Read the cups off their layers, which follow each other from the first infusion on."""
    there: list[str] = []
    found = []
    for layer in layers:
        gone = set(layer.get("gone") or ())
        there = [key for key in there if key not in gone]
        there += [str(key) for key in layer.get("new") or () if key not in there]
        leading = [str(key) for key in layer.get("leading") or ()]
        found.append(
            _Cup(
                infusion=int(layer["infusion"]),
                leading=tuple(key for key in leading if key not in _SAYS_NOTHING and families.get(key) not in _UNTOLD),
                there=tuple(key for key in there if families.get(key) not in {*_UNTOLD, "structure"}),
            )
        )
    return found


def _cups(expected: Sequence[_Cup], words: Catalogue, labels: Mapping[str, str]) -> list[dict[str, str]]:
    """Say what to expect of which cup; cups that follow each other and are led alike share a line.

    A line names what leads, and the particular flavours that are in most of its cups.
    """
    groups = [list(group) for _, group in groupby(expected, key=lambda cup: sorted(cup.leading))]
    told = []
    for cups in groups[:MOST_GROUPS]:
        counts = Counter(key for cup in cups for key in cup.there if key not in cup.leading)
        often = [key for key, n in counts.most_common() if 2 * n > len(cups)]
        keys = [*cups[0].leading[:MOST_LEADING], *often][:MOST_WORDS]
        first, last = cups[0].infusion, cups[-1].infusion
        told.append(
            {
                "cup": words.say("cup", n=first) if first == last else words.say("cups", first=first, last=last),
                "words": ", ".join(_label(key, words, labels) for key in keys) or "\u2013",
            }
        )
    return told if any(cup.leading or cup.there for cup in expected) else []


def _brew(guide: Mapping[str, Any] | None, words: Catalogue, *, kind: str) -> dict[str, Any]:
    if not guide or not guide.get("infusions"):
        begin = words.say("no_guide", **_EVEN, kettle_c=_BEGIN_C.get(kind, _BEGIN_OTHERWISE_C))
        return {"lines": [begin], "steeps": [], "head": "", "guess": ""}
    pot, last = guide["pot"], guide.get("last_worthwhile")
    pours = [one for one in guide["infusions"] if last is None or one["number"] <= last] or guide["infusions"][:1]
    rinse_s = guide.get("rinse_s", 10)
    lines = [words.say("pot", **{name: pot[name] for name in ("leaf_g", "vessel_ml", "kettle_c")})]
    lines += [words.say("warm")] if pot.get("warmed") else []
    lines += [words.say("rinse", s=rinse_s)] if rinse_s else []
    guesses = guessed(guide)
    return {
        "lines": lines,
        "head": words.say("steeps"),
        "steeps": [
            words.say(
                "steep_guess" if one["number"] in guesses else "steep",
                n=one["number"],
                time=words.steep(one["steep_s"]),
            )
            for one in pours
        ],
        "guess": words.say("guess") if any(one["number"] in guesses for one in pours) else "",
    }


def _many(steeps: Mapping[str, Any], guide: Mapping[str, Any] | None, words: Catalogue) -> list[str]:
    """Say how many cups: in the pot of the guide where there is one, else on the even brew with its interval."""
    if guide and guide.get("infusions") and guide.get("last_worthwhile"):
        n, low, high = int(guide["last_worthwhile"]), None, None
    elif steeps.get("recommended") is not None and round(steeps["recommended"]) >= 1:
        n, low, high = round(steeps["recommended"]), steeps.get("low"), steeps.get("high")
    else:
        return [words.say("good_unknown")]
    more = n >= LAST_INFUSION
    first = words.say("good_more" if more else "good_one" if n == 1 else "good_many", n=n)
    if low is None or high is None or round(low) == round(high):
        return [first]
    phrase = "span_more" if round(high) >= LAST_INFUSION else "span"
    return [first, words.say(phrase, low=round(low), high=round(high))]


def _caffeine(guide: Mapping[str, Any] | None, words: Catalogue) -> str:
    found = ((guide or {}).get("caffeine") or {}).get("per_pot_mg")
    return words.say("caffeine_pot", low=found["low"], high=found["high"]) if found else ""


def _escaped(text: object) -> str:
    """Return what was typed into a field as Markdown that shows it, on one line."""
    whole = isolated(" ".join(str(text).split()))
    return _START.sub(r"\1\\\2", _SPECIAL.sub(r"\\\g<0>", whole))


def card_markdown(facts: Mapping[str, Any]) -> str:
    """Write the card as CommonMark; whatever was typed into a field is escaped."""
    heads, brew = facts["heads"], facts["brew"]
    lines = [f"# {_escaped(facts['name'])}", "", " · ".join(map(_escaped, facts["origin"])), ""]
    lines += [f"## {heads['expect']}", "", facts["course"], ""]
    lines += [f"- **{one['cup']}:** {_escaped(one['words'])}" for one in facts["cups"]]
    lines += ["", f"## {heads['many']}", "", " ".join(facts["many"]), ""]
    lines += [f"## {heads['brew']}", "", " ".join(brew["lines"]), ""]
    if brew["steeps"]:
        lines += [brew["head"], "", " · ".join(brew["steeps"]), ""]
        lines += [brew["guess"], ""] if brew["guess"] else []
    if facts["pairings"]:
        lines += [f"## {heads['with']}", ""]
        lines += [f"- {_escaped(one['text'])} ({one['contains']})" for one in facts["pairings"]]
        lines += ["", facts["pairing_note"], ""]
    lines += [f"## {heads['care']}", "", *(f"- {caution}" for caution in facts["cautions"])]
    return "\n".join(lines) + "\n"


def card_paper(facts: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the layout ``card`` reads."""
    return {
        **facts,
        "name": isolated(" ".join(str(facts["name"]).split())),
        "origin": " · ".join(isolated(" ".join(part.split())) for part in facts["origin"]),
    }


def render_card(facts: Mapping[str, Any], *, downloads: Mapping[str, str], others: Mapping[str, str]) -> SafeString:
    """Write the card for a page; ``others`` are its addresses in other languages, by their names."""
    return render_to_string("pages/card.html", {**facts, "downloads": downloads, "others": others})
