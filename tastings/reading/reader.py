"""What a note's text says of each descriptor: there or not, how strong, and whether more or less than elsewhere.

Suggestions only: they count when the taster accepts them.
"""

from dataclasses import dataclass
from typing import Literal

from tastings.reading.lexicon import Lexicon
from tastings.reading.pieces import BOUNDARIES, Piece, pieces

_MOST_BETWEEN = 2
"""So many unknown words may stand between a negation and what it denies."""
_LONGEST_TEXT = 8000

Compared = Literal["more", "less"]
"""Than in another cup."""


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
    degree: Piece | None = None


def read(text: str, lexicon: Lexicon) -> list[Suggestion]:
    """Read a text; return one suggestion for each descriptor it speaks of, in the order of their places.

    Parameters
    ----------
    text : str
        As typed or dictated; only the first 8,000 characters are read.
    lexicon : Lexicon
        The words to look for.
    """
    text = text[:_LONGEST_TEXT]
    row = pieces(text, lexicon)
    findings: dict[int, _Finding] = {}
    best: dict[str, Suggestion] = {}
    elsewhere = ""
    for i, piece in enumerate(row):
        elsewhere = _elsewhere(row, i, elsewhere)
        if piece.kind != "term" or elsewhere:
            continue
        findings[i] = _AroundTerm(row, i, findings).read()
        for key in piece.sense.keys:
            suggestion = _suggestion(text, piece, findings[i], key=key, rated=lexicon.words[key].rated)
            if key in lexicon.language.rules.carriers and suggestion.only_names:
                continue  # that there is an aroma says nothing
            if key not in best or suggestion.weight > best[key].weight:
                best[key] = suggestion
    return sorted(best.values(), key=lambda one: (one.start, one.descriptor))


def _elsewhere(row: list[Piece], i: int, before: str) -> str:
    """Return "than" or "hypothetical" where the text speaks of another cup or of none, and "" where of this one.

    ``before`` is the answer for the piece before.
    """
    kind = row[i].kind
    if kind in ("than", "hypothetical"):
        return kind
    if kind in ("sentence_end", "comma", "contrast") or (before == "than" and kind == "clause_end"):
        return ""
    if before == "than" and kind == "and" and i + 1 < len(row) and row[i + 1].kind in ("more", "less", "degree", "not"):
        return ""
    return before


def _suggestion(text: str, piece: Piece, finding: _Finding, *, key: str, rated: bool) -> Suggestion:
    if finding.denied:
        value: float | None = 0.0 if rated else None
        return Suggestion(descriptor=key, start=piece.start, end=piece.end, present=False, intensity=value)
    if finding.compared:
        return Suggestion(descriptor=key, start=piece.start, end=piece.end, compared=finding.compared)
    degree = text[finding.degree.start : finding.degree.end] if finding.degree else ""
    value = None if finding.value is None else min(10.0, max(0.5, round(2 * finding.value) / 2))
    return Suggestion(descriptor=key, start=piece.start, end=piece.end, intensity=value, degree=degree)


class _AroundTerm:
    """Reads what the words around one term say of it; ``earlier`` has what was found for the terms before."""

    def __init__(self, row: list[Piece], i: int, earlier: dict[int, _Finding]) -> None:
        self._row, self._i, self._earlier = row, i, earlier
        self._finding = _Finding(compared="more" if row[i].sense.compared else None)
        if (degree := row[i].graded) is not None:
            self._grade(degree)

    def read(self) -> _Finding:
        """Look back from the term, then ahead."""
        self._back()
        self._ahead()
        if self._finding.denied and self._finding.compared:  # "not sweeter" leaves open whether it is sweet
            self._finding.denied, self._finding.compared = False, None
        return self._finding

    def _back(self) -> None:
        others = 0
        for j in range(self._i - 1, -1, -1):
            piece = self._row[j]
            match piece.kind:
                case "filler" | "cue":
                    continue
                case "degree" | "score" if not others:
                    self._grade(piece)
                case "more" | "less" if not others:
                    self._finding.compared = piece.kind
                case "not":
                    self._finding.denied = True
                    return
                case "weak":
                    self._grade(piece.as_kind("degree", value=2), firm=True)
                    return
                case "other" | "degree" | "handle" if others < _MOST_BETWEEN:
                    others += 1
                case "or" | "and" | "comma":
                    self._listed(j)
                    return
                case _:
                    return

    def _grade(self, piece: Piece, *, firm: bool = False) -> None:
        if self._finding.value is None or firm:
            self._finding.value, self._finding.degree = piece.sense.value, piece

    def _listed(self, j: int) -> None:
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
        for piece in self._row[self._i + 1 :]:
            if piece.kind == "or":
                return True
            if piece.kind not in ("comma", "term"):
                return False
        return False

    def _ahead(self) -> None:
        """Read on to the first piece that says something: a comparison, or what grades the term."""
        degree: Piece | None = None
        for j in range(self._i + 1, len(self._row)):
            piece = self._row[j]
            if piece.kind in ("filler", "cue"):
                continue
            if piece.kind == "degree" and not self._leads(j):
                degree = piece
                continue
            if not self._compare_ahead(j):
                degree = self._degree_ahead(j) or degree
            break
        if degree is not None:
            self._grade(degree, firm=True)

    def _compare_ahead(self, j: int) -> bool:
        """Take in what a piece after the term says of its presence or its change; return whether it does."""
        kind = self._row[j].kind
        match kind:
            case "gone":
                self._finding.denied = True
            case "rises":
                self._finding.compared = "more"
            case "falls":
                self._finding.compared = "less"
            case "more" | "less" if not self._leads(j):
                self._finding.compared = kind
            case _:
                return False
        return True

    def _degree_ahead(self, j: int) -> Piece | None:
        """Return the degree that a piece after the term gives to it."""
        piece = self._row[j]
        match piece.kind:
            case "weak" if not self._leads(j):
                return piece.as_kind("degree", value=2)
            case "not" if self._next(j) == "degree" and not self._leads(j + 1):
                return piece.as_kind("degree", value=2)
            case "score" if not self._leads(j) or self._finding.value is None:
                return piece
            case "number" if self._next(j) in ("", "term", "and", *BOUNDARIES):
                return piece
            case _:
                return None

    def _next(self, j: int) -> str:
        """Return the kind of what follows a piece, past what says nothing; empty at the end."""
        return next((p.kind for p in self._row[j + 1 :] if p.kind != "filler"), "")

    def _leads(self, j: int) -> bool:
        """Whether a piece grades what follows it rather than the term before."""
        for piece in self._row[j + 1 :]:
            if piece.kind in ("term", "cue", "other"):
                return piece.kind != "other"
            if piece.kind not in ("filler", "degree"):
                return False
        return False


def _is_adjective(piece: Piece) -> bool:
    return piece.words[-1].endswith(("y", "ic", "nt", "ish", "ed")) or piece.words[-1] in (
        "sweet", "bitter", "sour", "thick", "thin", "smooth", "soft", "round", "floral", "herbal",
    )  # fmt: skip
