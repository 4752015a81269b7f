"""What to eat with a tea, by the rules of ``tastings/data/pairings.json``. Pure."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TypedDict

_RULES = Path(__file__).resolve().parent.parent / "data" / "pairings.json"


class Rule(TypedDict):
    """A food, the descriptors and families it goes with, and what it usually contains."""

    food: str
    keys: list[str]
    families: list[str]
    allergens: list[str]


class PairingRules(TypedDict):
    """The file; ``about`` says how the rules work, at ``most`` so many foods are suggested."""

    about: list[str]
    most: int
    rules: list[Rule]


@dataclass(frozen=True, slots=True)
class Pairing:
    """A food, the descriptors it was chosen for, and what it usually contains; all by key."""

    food: str
    because: tuple[str, ...]
    allergens: tuple[str, ...]


@cache
def rules() -> PairingRules:
    """Return the rules as they stand in the file."""
    content: PairingRules = json.loads(_RULES.read_text(encoding="utf-8"))
    return content


def pairings(cups: Sequence[Sequence[str]], families: Mapping[str, str]) -> list[Pairing]:
    """Suggest foods for the cups of a lot, those that match most cups first; none when no descriptor leads any cup.

    ``cups`` are the keys of the descriptors of each cup worth drinking; ``families`` are those of descriptors, by key.
    """
    suggested = []
    for place, rule in enumerate(rules()["rules"]):
        keys, of = set(rule["keys"]), set(rule["families"])
        matched = [[key for key in cup if key in keys or families.get(key) in of] for cup in cups]
        n_cups = sum(map(bool, matched))
        if n_cups:
            because = tuple(dict.fromkeys(key for cup in matched for key in cup))[:2]
            suggested.append((-n_cups, place, Pairing(rule["food"], because, tuple(rule["allergens"]))))
    return [pairing for _, _, pairing in sorted(suggested, key=lambda item: item[:2])[: rules()["most"]]]
