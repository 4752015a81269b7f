"""A text as a row of pieces: flavour words, negations, degrees, what ends a clause, and the rest."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from tastings.reading.language import Sense
from tastings.reading.lexicon import Lexicon
from tastings.reading.tokens import Token, tokens

_BOUNDS = ("end", "contrast", "stop", "comma")
_SCALES = (5.0, 10.0, 100.0)


@dataclass(frozen=True, slots=True)
class Piece:
    """One phrase with its sense and its place in the text."""

    sense: Sense
    words: tuple[str, ...]
    start: int
    end: int
    graded: "Piece | None" = None
    """What grades it from beyond another term."""

    @property
    def kind(self) -> str:
        """What it is: term, not, degree, ..."""
        return self.sense.kind

    def turned(self, kind: str, *, keys: tuple[str, ...] = (), value: float | None = None) -> "Piece":
        """Return the same words with another sense."""
        return replace(self, sense=Sense(kind, keys, value))


def pieces(text: str, lexicon: Lexicon) -> list[Piece]:
    """Cut a text into pieces, the longest phrase first, and settle what a word is by its company."""
    found = _cut(tokens(text, lexicon.language.simplified), lexicon)
    for settle in (_own_degrees, _looks, _blocked, _carriers, _lonely):
        found = settle(found, lexicon)
    return found


def _cut(found: list[Token], lexicon: Lexicon) -> list[Piece]:
    words = [lexicon.spelt(token.plain) if token.kind == "word" else token.plain for token in found]
    row: list[Piece] = []
    i = 0
    while i < len(found):
        n, sense = _number(words, found, i, lexicon) or _phrase(words, i, lexicon) or (1, _alone(found[i]))
        row.append(Piece(sense, tuple(words[i : i + n]), found[i].start, found[i + n - 1].end))
        i += n
    return row


def _phrase(words: list[str], i: int, lexicon: Lexicon) -> tuple[int, Sense] | None:
    for n in range(min(lexicon.longest, len(words) - i), 0, -1):
        sense = lexicon.sense(tuple(words[i : i + n]))
        if sense is not None:
            return n, sense
    return None


def _alone(token: Token) -> Sense:
    match token.kind:
        case "end":
            return Sense("end")
        case "mark":
            return Sense("comma")
        case _:
            return Sense("other")


def _number(words: list[str], found: list[Token], i: int, lexicon: Lexicon) -> tuple[int, Sense] | None:
    """Read a number: "7/10" and "3 out of 5" say their scale; a bare one may count anything."""
    if (value := _value(words[i], found[i], lexicon)) is None:
        return None
    for link in (["/"], ["out", "of"]):
        n = len(link) + 2
        if words[i + 1 : i + n - 1] == link and i + n <= len(words):
            scale = _value(words[i + n - 1], found[i + n - 1], lexicon)
            if scale in _SCALES and value <= scale:
                return n, Sense("score", value=10 * value / scale)
            return n, Sense("other")
    units = lexicon.language.told["units"]
    if value <= 10 and not (i + 1 < len(words) and words[i + 1] in units):
        return 1, Sense("number", value=value)
    return 1, Sense("other")


def _value(word: str, token: Token, lexicon: Lexicon) -> float | None:
    if token.kind == "number":
        return float(word.replace(",", "."))
    told: float | None = lexicon.language.told["number_words"].get(word)
    return told


def _own_degrees(row: list[Piece], lexicon: Lexicon) -> list[Piece]:
    """Read a word that grades one term only as its degree: a long (sweet) finish, a full body, the finish is long."""
    told, before = lexicon.language.told["own_degrees"], lexicon.language.told["degree_before_a_term"]
    done = list(row)
    for i, piece in enumerate(row):
        text = " ".join(piece.words) if piece.words[0].isascii() else "".join(piece.words)
        for j in _terms_after(row, i):
            if values := [told[key][text] for key in row[j].sense.keys if text in told.get(key, ())]:
                degree = piece.turned("degree", value=values[0])
                done[i] = degree if j == i + 1 else piece.turned("filler")
                done[j] = done[j] if j == i + 1 else replace(done[j], graded=degree)
                break
            if text in before and j == i + 1:
                done[i] = piece.turned("degree", value=before[text])
        back = next((row[j] for j in range(i - 1, max(-1, i - 4), -1) if row[j].kind not in ("filler", "cue")), piece)
        values = [told[key][text] for key in back.sense.keys if text in told.get(key, ())]
        if values and done[i] is piece and piece.kind != "term":
            done[i] = piece.turned("degree", value=values[0])
    return done


def _terms_after(row: list[Piece], i: int) -> Iterator[int]:
    for j in range(i + 1, min(i + 4, len(row))):
        if row[j].kind != "term":
            return
        yield j


def _looks(row: list[Piece], lexicon: Lexicon) -> list[Piece]:
    """Read colours and shapes as the look of liquor or leaf where one of these is spoken of, else as anything else."""
    done = list(row)
    for family, told in lexicon.language.told["looks"].items():
        named = {lexicon.language.cut(text): key for text, key in told["words"].items()}
        heads = set(told["heads"])
        for i, piece in enumerate(row):
            alone = len(piece.words) == 1 and piece.words[0].isascii()
            is_term = piece.kind == "term" and piece.sense.family == family and alone
            if not is_term and piece.words not in named:
                continue

            def is_head(other: Piece, heads: set[str] = heads) -> bool:
                return bool(heads & {*other.words, " ".join(other.words)})

            def is_look(other: Piece, named: dict[tuple[str, ...], str] = named, family: str = family) -> bool:
                return other.words in named or other.sense.family == family

            if _near(row, i, is_head, is_look):
                if not is_term:
                    done[i] = piece.turned("term", keys=(named[piece.words],))
            elif is_term and piece.words[0] not in lexicon.language.told["look_alone"]:
                done[i] = piece.turned("other")
    return done


def _near(row: list[Piece], i: int, is_head: Callable[[Piece], bool], is_look: Callable[[Piece], bool]) -> bool:
    """Whether a head stands beside the piece, with nothing but more of its kind between them."""
    between = ("filler", "degree", "and", "comma", "more", "less", "not", "weak")
    for way in (range(i + 1, len(row)), range(i - 1, -1, -1)):
        for j in way:
            if is_head(row[j]):
                return True
            if not (row[j].kind in between or is_look(row[j])):
                break
    return False


def _blocked(row: list[Piece], lexicon: Lexicon) -> list[Piece]:
    """Take out terms that are things handled, things named after a flavour, or other words in their context."""
    told = lexicon.language.told
    things, contexts = set(told["things"]), told["contexts"]
    done: list[Piece] = []
    handled = 0
    for i, piece in enumerate(row):
        if piece.kind == "handle":
            handled = 4
        elif piece.kind in (*_BOUNDS, "cue"):
            handled = 0
        keep = piece.kind != "term"
        if not keep:
            before = row[i - 1].words[-1] if i else ""
            after = row[i + 1].words[0] if i + 1 < len(row) else ""
            context = contexts.get(" ".join(piece.words), {"before": (), "after": ()})
            keep = not (handled or after in things or before in context["after"] or after in context["before"])
            keep = keep and not _attribute(row, i, told["attributes"])
        done.append(piece if keep else piece.turned("other"))
        handled = max(0, handled - 1)
    return done


def _attribute(row: list[Piece], i: int, told: Mapping[str, Sequence[str]]) -> bool:
    """Whether a term only says of the next one how it was made: roasted nuts."""
    families = told.get(row[i].words[-1], ())
    return i + 1 < len(row) and row[i + 1].kind == "term" and row[i + 1].sense.family in families


def _carriers(row: list[Piece], lexicon: Lexicon) -> list[Piece]:
    """Read "aroma" and "finish" as carrying another term where they do: a peach aroma, an aroma of peach."""
    names = set(lexicon.language.told["carriers"])
    done = list(row)
    for i, piece in enumerate(row):
        if piece.kind != "term" or not names & set(piece.sense.keys):
            continue
        after = row[i + 1].words[0] if i + 1 < len(row) else ""
        carries = i > 0 and row[i - 1].kind == "term" and piece.graded is None
        if carries or (after in ("of", "like") and i + 2 < len(row)):
            done[i] = piece.turned("cue")
    return done


def _lonely(row: list[Piece], lexicon: Lexicon) -> list[Piece]:
    """Take out words that are flavours in company only ("soap", "library"), and feelings that nobody feels."""
    told = lexicon.language.told
    wanting = {lexicon.language.cut(text) for text in told["needs_company"]}
    done = list(row)
    for first, last in _sentences(row):
        sentence = range(first, last)
        for i in sentence:
            piece = row[i]
            if piece.kind != "term":
                continue
            heads = told["needs_heads"].get(piece.sense.family)
            if heads is not None and len(piece.words) == 1 and piece.words[0].isascii():
                feels = any(word in heads for j in sentence if j != i for word in row[j].words)
            else:
                feels = True
            if not feels or (piece.words in wanting and not _company([row[j] for j in sentence if j != i])):
                done[i] = piece.turned("other")
    return done


def _company(others: Sequence[Piece]) -> bool:
    telling = {"cue", "degree", "term", "more", "less", "not", "weak", "rises", "falls", "gone", "score", "number"}
    return any(o.kind in telling for o in others) or all(o.kind in ("filler", *_BOUNDS, "and") for o in others)


def _sentences(row: list[Piece]) -> Iterable[tuple[int, int]]:
    first = 0
    for i, piece in enumerate(row):
        if piece.kind == "end":
            yield first, i
            first = i + 1
    yield first, len(row)
