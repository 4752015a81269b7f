"""Reading notes against plain keyword search: precision and recall of descriptors on invented sentences.

Run: ``python -m benchmarks.reading`` (held-out sentences) or ``python -m benchmarks.reading --development``, which
also prints every miss. No database is needed.
"""

import json
import re
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tastings.reading.lexicon import Lexicon
from tastings.reading.reader import Suggestion, read
from tastings.reading.terms import DescriptorTerms

DATA = Path(__file__).resolve().parent / "data"
LEXICON = Path(__file__).resolve().parent.parent / "tastings" / "data" / "lexicon.json"
LOW_UP_TO, HIGH_FROM = 3.5, 6.5


def built_in_descriptors() -> list[DescriptorTerms]:
    """Return the built-in descriptors."""
    listed = json.loads(LEXICON.read_text("utf-8"))["descriptors"]
    return [
        DescriptorTerms(
            key=d["key"],
            label=d["label"],
            family=d["family"],
            synonyms=tuple(d["synonyms"]),
            rated=d["rated_each_infusion"],
        )
        for d in listed
    ]


def sentences(name: str) -> list[dict[str, Any]]:
    """Read ``heldout`` or ``development``."""
    lines = (DATA / f"reading_{name}.jsonl").read_text("utf-8").splitlines()
    return [json.loads(line) for line in lines]


def keyword_search(words: Iterable[DescriptorTerms]) -> Callable[[str], set[str]]:
    """Return a search for labels and synonyms as whole words, whatever is said of them: the plain alternative."""
    terms = [
        (re.compile(rf"(?<![a-z]){re.escape(text.casefold())}(?![a-z])"), word.key)
        for word in words
        for text in (word.label, *word.synonyms)
    ]
    return lambda text: {key for term, key in terms if term.search(text.casefold())}


@dataclass(slots=True)
class Score:
    """Counts over sentences of what was found, what should have been and what was both."""

    both: int = 0
    detected: int = 0
    expected: int = 0
    empty_found: int = 0
    """Sentences without flavour words in which something was found."""
    misses: list[str] = field(default_factory=list)

    def count(self, sentence: Mapping[str, Any], keys: set[str], *, denied: bool = False) -> None:
        """Add one sentence; ``denied`` if the absence of something is found in it too."""
        expected = set(sentence["present"])
        self.both, self.detected, self.expected = (
            self.both + len(expected & keys),
            self.detected + len(keys),
            self.expected + len(expected),
        )
        self.empty_found += (bool(keys) or denied) and not (expected or sentence["absent"])
        if expected != keys:
            self.misses.append(
                f"{sentence['text']}\n    missed {sorted(expected - keys)}, made up {sorted(keys - expected)}"
            )

    @property
    def precision(self) -> float:
        """Share of what was found that was wanted."""
        return self.both / self.detected if self.detected else 1.0

    @property
    def recall(self) -> float:
        """Share of what was wanted that was found."""
        return self.both / self.expected if self.expected else 1.0


@dataclass(slots=True)
class Details:
    """How well denials, strengths and comparisons are read, of what was found at all."""

    denied: Score = field(default_factory=Score)
    compared: Score = field(default_factory=Score)
    strengths: int = 0
    correct: int = 0

    def count(self, sentence: Mapping[str, Any], suggestions: Sequence[Suggestion]) -> None:
        """Add one sentence."""
        detected = {item.descriptor: item for item in suggestions}
        text = sentence["text"]
        denied = {item.descriptor for item in suggestions if not item.present}
        self.denied.count({"text": text, "present": sentence["absent"], "absent": []}, denied)
        compared = {f"{item.descriptor} {item.compared}" for item in suggestions if item.compared}
        expected = [f"{key} {way}" for key, way in sentence["compared"].items()]
        self.compared.count({"text": text, "present": expected, "absent": []}, compared)
        for key, strength in sentence["strength"].items():
            if key in detected and detected[key].present:
                self.strengths += 1
                self.correct += strength == strength_of(detected[key].intensity)


def strength_of(intensity: float | None) -> str | None:
    """Return low, mid or high."""
    if intensity is None:
        return None
    return "low" if intensity <= LOW_UP_TO else "high" if intensity >= HIGH_FROM else "mid"


def measure(name: str) -> tuple[Score, Score, Details]:
    """Return the scores of the reader and of keyword search, and the reader's details."""
    words = built_in_descriptors()
    lexicon, search = Lexicon(words), keyword_search(words)
    reader, keywords, details = Score(), Score(), Details()
    for sentence in sentences(name):
        suggestions = read(sentence["text"], lexicon)
        denied = any(not item.present for item in suggestions)
        reader.count(sentence, {item.descriptor for item in suggestions if item.present}, denied=denied)
        keywords.count(sentence, search(sentence["text"]))
        details.count(sentence, suggestions)
    return reader, keywords, details


def main() -> None:
    name = "development" if "--development" in sys.argv else "heldout"
    reader, keywords, details = measure(name)
    listed = sentences(name)
    without = sum(not (s["present"] or s["absent"]) for s in listed)
    print(f"{len(listed)} sentences ({name}), {without} of them without flavour words\n")
    print("| | precision | recall | sentences without flavour words in which something is found |")
    print("| --- | --- | --- | --- |")
    for label, score in (("reader", reader), ("keyword search", keywords)):
        print(f"| {label} | {score.precision:.3f} | {score.recall:.3f} | {score.empty_found} of {without} |")
    print(f"\ndenials: precision {details.denied.precision:.3f}, recall {details.denied.recall:.3f}")
    print(f"comparisons: precision {details.compared.precision:.3f}, recall {details.compared.recall:.3f}")
    print(f"strength low, mid or high right: {details.correct} of {details.strengths}")
    if name == "development":
        for title, score in (("presence", reader), ("denials", details.denied), ("comparisons", details.compared)):
            print(f"\n{title}", *score.misses, sep="\n  ")


if __name__ == "__main__":
    main()
