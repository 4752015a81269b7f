"""Extracts suggested descriptors from a note's text, with presence, intensity and comparison.

A suggestion counts only when the taster accepts it.
"""

from dataclasses import dataclass
from typing import Literal

from tastings.reading.lexicon import Lexicon
from tastings.reading.spans import BOUNDARIES, Span, spans

_MOST_BETWEEN = 2
"""Most unknown words between a negation and what it denies."""
_LONGEST_TEXT = 8000

Compared = Literal["more", "less"]
"""Comparisons with another cup."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """A descriptor that a text speaks of.

    ``start`` and ``end`` are where its word stands in the text, in characters. ``intensity`` is on the scale of 0 to
    10 in steps of 0.5, None where the text does not grade it; of a comparison ("less honey") only the presence is
    known. ``present`` is False for what the text denies; then the intensity is 0 if the descriptor is rated each
    infusion. ``compared`` is "more" or "less" than another cup. ``degree`` is the wording that gave the intensity.
    """

    descriptor: str
    start: int
    end: int
    intensity: float | None = None
    present: bool = True
    compared: Compared | None = None
    degree: str = ""

    @property
    def weight(self) -> tuple[bool, bool, bool]:
        """Which of two mentions of a descriptor is kept: what is there, graded or compared, before what is not."""
        return self.present, self.intensity is not None, self.compared is not None

    @property
    def only_names(self) -> bool:
        """Whether the text says that the descriptor is there, and no more."""
        return self.present and self.intensity is None and self.compared is None


@dataclass(slots=True)
class _Finding:
    """What the words around a term say of it."""

    denied: bool = False
    compared: Compared | None = None
    value: float | None = None
    degree: Span | None = None


def read(text: str, lexicon: Lexicon) -> list[Suggestion]:
    """Return one suggestion for each descriptor that a text speaks of, in the order of their places.

    Of the text, typed or dictated, only the first 8,000 characters are read.
    """
    text = text[:_LONGEST_TEXT]
    row = spans(text, lexicon)
    findings: dict[int, _Finding] = {}
    best: dict[str, Suggestion] = {}
    elsewhere = ""
    for i, span in enumerate(row):
        elsewhere = _other_cup(row, i, elsewhere)
        if span.kind != "term" or elsewhere:
            continue
        findings[i] = _AroundTerm(row, i, findings).read()
        for key in span.sense.keys:
            suggestion = _suggestion(text, span, findings[i], key=key, rated=lexicon.descriptors[key].rated)
            if key in lexicon.language.rules.carriers and suggestion.only_names:
                continue  # that there is an aroma says nothing
            if key not in best or suggestion.weight > best[key].weight:
                best[key] = suggestion
    return sorted(best.values(), key=lambda item: (item.start, item.descriptor))


def _other_cup(row: list[Span], i: int, before: str) -> str:
    """Return "than" or "hypothetical" where the text speaks of another cup or of none, and "" where of this one.

    ``before`` is the answer for the span before.
    """
    kind = row[i].kind
    if kind in ("than", "hypothetical"):
        return kind
    if kind in ("sentence_end", "comma", "contrast") or (before == "than" and kind == "clause_end"):
        return ""
    if before == "than" and kind == "and" and i + 1 < len(row) and row[i + 1].kind in ("more", "less", "degree", "not"):
        return ""
    return before


def _suggestion(text: str, span: Span, finding: _Finding, *, key: str, rated: bool) -> Suggestion:
    if finding.denied:
        value: float | None = 0.0 if rated else None
        return Suggestion(descriptor=key, start=span.start, end=span.end, present=False, intensity=value)
    if finding.compared:
        return Suggestion(descriptor=key, start=span.start, end=span.end, compared=finding.compared)
    degree = text[finding.degree.start : finding.degree.end] if finding.degree else ""
    value = None if finding.value is None else min(10.0, max(0.5, round(2 * finding.value) / 2))
    return Suggestion(descriptor=key, start=span.start, end=span.end, intensity=value, degree=degree)


class _AroundTerm:
    """Reads what the words around one term say of it; ``earlier`` has what was found for the terms before."""

    def __init__(self, row: list[Span], i: int, earlier: dict[int, _Finding]) -> None:
        self._row, self._i, self._earlier = row, i, earlier
        self._finding = _Finding(compared="more" if row[i].sense.compared else None)
        if (degree := row[i].graded) is not None:
            self._grade(degree)

    def read(self) -> _Finding:
        """Look back from the term, then ahead."""
        self._scan_backward()
        self._scan_forward()
        if self._finding.denied and self._finding.compared:  # "not sweeter" leaves open whether it is sweet
            self._finding.denied, self._finding.compared = False, None
        return self._finding

    def _scan_backward(self) -> None:
        others = 0
        for j in range(self._i - 1, -1, -1):
            span = self._row[j]
            match span.kind:
                case "filler" | "cue":
                    continue
                case "degree" | "score" if not others:
                    self._grade(span)
                case "more" | "less" if not others:
                    self._finding.compared = span.kind
                case "not":
                    self._finding.denied = True
                    return
                case "weak":
                    self._grade(span.as_kind("degree", value=2), firm=True)
                    return
                case "other" | "degree" | "handle" if others < _MOST_BETWEEN:
                    others += 1
                case "or" | "and" | "comma":
                    self._share_denial(j)
                    return
                case _:
                    return

    def _grade(self, span: Span, *, firm: bool = False) -> None:
        if self._finding.value is None or firm:
            self._finding.value, self._finding.degree = span.sense.value, span

    def _share_denial(self, j: int) -> None:
        """Share the denial of what stands before in the same list: no smoke, ash or tar."""
        k = j - 1
        while k >= 0 and self._row[k].kind in ("comma", "cue", "filler"):
            k -= 1
        if not (k in self._earlier and self._earlier[k].denied):
            return
        match self._row[j].kind:
            case "or":
                self._finding.denied = True
            case "and":
                alike = _is_adjective(self._row[k]) == _is_adjective(self._row[self._i])
                self._finding.denied = j == self._i - 1 and alike
            case _:
                self._finding.denied = self._or_follows() and j == self._i - 1

    def _or_follows(self) -> bool:
        for span in self._row[self._i + 1 :]:
            if span.kind == "or":
                return True
            if span.kind not in ("comma", "term"):
                return False
        return False

    def _scan_forward(self) -> None:
        """Read on to the first span that says something: a comparison, or what grades the term."""
        degree: Span | None = None
        for j in range(self._i + 1, len(self._row)):
            span = self._row[j]
            if span.kind in ("filler", "cue"):
                continue
            if span.kind == "degree" and not self._grades_following(j):
                degree = span
                continue
            if not self._compare_following(j):
                degree = self._degree_following(j) or degree
            break
        if degree is not None:
            self._grade(degree, firm=True)

    def _compare_following(self, j: int) -> bool:
        """Take in what a span after the term says of its presence or its change; return whether it does."""
        kind = self._row[j].kind
        match kind:
            case "gone":
                self._finding.denied = True
            case "rises":
                self._finding.compared = "more"
            case "falls":
                self._finding.compared = "less"
            case "more" | "less" if not self._grades_following(j):
                self._finding.compared = kind
            case _:
                return False
        return True

    def _degree_following(self, j: int) -> Span | None:
        """Return the degree that a span after the term gives to it."""
        span = self._row[j]
        match span.kind:
            case "weak" if not self._grades_following(j):
                return span.as_kind("degree", value=2)
            case "not" if self._next(j) == "degree" and not self._grades_following(j + 1):
                return span.as_kind("degree", value=2)
            case "score" if not self._grades_following(j) or self._finding.value is None:
                return span
            case "number" if self._next(j) in ("", "term", "and", *BOUNDARIES):
                return span
            case _:
                return None

    def _next(self, j: int) -> str:
        """Return the kind of what follows a span, past what says nothing; empty at the end."""
        return next((p.kind for p in self._row[j + 1 :] if p.kind != "filler"), "")

    def _grades_following(self, j: int) -> bool:
        """Whether a span grades what follows it rather than the term before."""
        for span in self._row[j + 1 :]:
            if span.kind in ("term", "cue", "other"):
                return span.kind != "other"
            if span.kind not in ("filler", "degree"):
                return False
        return False


def _is_adjective(span: Span) -> bool:
    return span.words[-1].endswith(("y", "ic", "nt", "ish", "ed")) or span.words[-1] in (
        "sweet", "bitter", "sour", "thick", "thin", "smooth", "soft", "round", "floral", "herbal",
    )  # fmt: skip
