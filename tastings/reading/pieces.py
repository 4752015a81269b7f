"""A text as a row of pieces: flavour words, negations, degrees, what ends a clause, and the rest."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from tastings.reading.language import Context, Kind, Phrase, Rules, Sense
from tastings.reading.lexicon import Lexicon
from tastings.reading.tokens import Token, tokens

BOUNDARIES: tuple[Kind, ...] = ("sentence_end", "contrast", "clause_end", "comma")
"""What ends a clause."""
_SCALES = (5.0, 10.0, 100.0)
_HANDLED_WORDS = 4
"""So many words after "ate" or "bought" may name what was eaten or bought."""
_TASTING: frozenset[Kind] = frozenset(
    {"cue", "degree", "term", "more", "less", "not", "weak", "rises", "falls", "gone", "score", "number"}
)
_NO_CONTEXT = Context(frozenset(), frozenset())


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
    def kind(self) -> Kind:
        """What it is: term, not, degree, ..."""
        return self.sense.kind

    def as_kind(self, kind: Kind, *, keys: tuple[str, ...] = (), value: float | None = None) -> "Piece":
        """Return the same words with another sense."""
        return replace(self, sense=Sense(kind, keys, value))


def pieces(text: str, lexicon: Lexicon) -> list[Piece]:
    """Cut a text into pieces, the longest phrase first, and settle what a word is by its company."""
    found = _cut(tokens(text, lexicon.language.rules.simplified), lexicon)
    for settle in (_own_degrees, _looks, _blocked, _carriers, _lonely):
        found = settle(found, lexicon)
    return found


def _cut(found: list[Token], lexicon: Lexicon) -> list[Piece]:
    words = [lexicon.corrected(token.plain) if token.kind == "word" else token.plain for token in found]
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
            return Sense("sentence_end")
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
    if value <= 10 and not (i + 1 < len(words) and words[i + 1] in lexicon.language.rules.units):
        return 1, Sense("number", value=value)
    return 1, Sense("other")


def _value(word: str, token: Token, lexicon: Lexicon) -> float | None:
    if token.kind == "number":
        return float(word.replace(",", "."))
    return lexicon.language.rules.number_words.get(word)


def _own_degrees(row: list[Piece], lexicon: Lexicon) -> list[Piece]:
    """Read a word that grades one term only as its degree: a long (sweet) finish, a full body, the finish is long."""
    rules = lexicon.language.rules
    done = list(row)
    for i, piece in enumerate(row):
        text = " ".join(piece.words) if piece.words[0].isascii() else "".join(piece.words)
        for j in _terms_after(row, i):
            is_next = j == i + 1
            value = _own_degree(row[j], text, rules)
            if value is not None and is_next:
                done[i] = piece.as_kind("degree", value=value)
            elif value is not None:
                done[i], done[j] = (
                    piece.as_kind("filler"),
                    replace(done[j], graded=piece.as_kind("degree", value=value)),
                )
            if value is not None:
                break
            if is_next and text in rules.degree_before_a_term:
                done[i] = piece.as_kind("degree", value=rules.degree_before_a_term[text])
        value = _own_degree(_before(row, i), text, rules)
        if value is not None and done[i] is piece and piece.kind != "term":
            done[i] = piece.as_kind("degree", value=value)
    return done


def _own_degree(piece: Piece, text: str, rules: Rules) -> float | None:
    """Return the degree that a text has for just this term."""
    return next((own[text] for key in piece.sense.keys if text in (own := rules.own_degrees.get(key, {}))), None)


def _terms_after(row: list[Piece], i: int) -> Iterator[int]:
    """Return the places of at most three terms right after a piece."""
    for j in range(i + 1, min(i + 4, len(row))):
        if row[j].kind != "term":
            return
        yield j


def _before(row: list[Piece], i: int) -> Piece:
    """Return the last of the three pieces before that says something; the piece itself if there is none."""
    return next((row[j] for j in range(i - 1, max(-1, i - 4), -1) if row[j].kind not in ("filler", "cue")), row[i])


def _looks(row: list[Piece], lexicon: Lexicon) -> list[Piece]:
    """Read colours and shapes as the look of liquor or leaf where one of these is spoken of, else as anything else."""
    rules = lexicon.language.rules
    done = list(row)
    for family, look in rules.looks.items():
        words = {lexicon.language.cut(text): key for text, key in look.words.items()}

        def is_head(piece: Piece, heads: frozenset[str] = look.heads) -> bool:
            return bool(heads & {*piece.words, " ".join(piece.words)})

        def is_look(piece: Piece, words: Mapping[Phrase, str] = words, family: str = family) -> bool:
            return piece.words in words or piece.sense.family == family

        for i, piece in enumerate(row):
            is_term = piece.kind == "term" and piece.sense.family == family and _is_one_english_word(piece)
            if not is_term and piece.words not in words:
                continue
            if _near(row, i, is_head, is_look):
                if not is_term:
                    done[i] = piece.as_kind("term", keys=(words[piece.words],))
            elif is_term and piece.words[0] not in rules.look_alone:
                done[i] = piece.as_kind("other")
    return done


def _is_one_english_word(piece: Piece) -> bool:
    return len(piece.words) == 1 and piece.words[0].isascii()


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
    done: list[Piece] = []
    handled = 0
    for i, piece in enumerate(row):
        if piece.kind == "handle":
            handled = _HANDLED_WORDS
        elif piece.kind == "cue" or piece.kind in BOUNDARIES:
            handled = 0
        is_blocked = piece.kind == "term" and (handled > 0 or _is_no_flavour(row, i, lexicon.language.rules))
        done.append(piece.as_kind("other") if is_blocked else piece)
        handled = max(0, handled - 1)
    return done


def _is_no_flavour(row: list[Piece], i: int, rules: Rules) -> bool:
    """Whether the words beside a term make it a thing, another word, or only how the next term was made."""
    before = row[i - 1].words[-1] if i else ""
    after = row[i + 1].words[0] if i + 1 < len(row) else ""
    context = rules.contexts.get(" ".join(row[i].words), _NO_CONTEXT)
    if after in rules.things or before in context.after or after in context.before:
        return True
    qualified = rules.attributes.get(row[i].words[-1], ())
    return i + 1 < len(row) and row[i + 1].kind == "term" and row[i + 1].sense.family in qualified


def _carriers(row: list[Piece], lexicon: Lexicon) -> list[Piece]:
    """Read "aroma" and "finish" as carrying another term where they do: a peach aroma, an aroma of peach."""
    carriers = lexicon.language.rules.carriers
    done = list(row)
    for i, piece in enumerate(row):
        if piece.kind != "term" or carriers.isdisjoint(piece.sense.keys):
            continue
        after = row[i + 1].words[0] if i + 1 < len(row) else ""
        carries = i > 0 and row[i - 1].kind == "term" and piece.graded is None
        if carries or (after in ("of", "like") and i + 2 < len(row)):
            done[i] = piece.as_kind("cue")
    return done


def _lonely(row: list[Piece], lexicon: Lexicon) -> list[Piece]:
    """Take out words that are flavours in company only ("soap", "library"), and feelings that nobody feels."""
    rules = lexicon.language.rules
    need_company = {lexicon.language.cut(text) for text in rules.needs_company}
    done = list(row)
    for first, last in _sentences(row):
        for i in range(first, last):
            piece, others = row[i], [*row[first:i], *row[i + 1 : last]]
            if piece.kind != "term":
                continue
            heads = rules.needs_heads.get(piece.sense.family) if _is_one_english_word(piece) else None
            is_felt = heads is None or any(word in heads for other in others for word in other.words)
            if not is_felt or (piece.words in need_company and not _is_company(others)):
                done[i] = piece.as_kind("other")
    return done


def _is_company(others: Sequence[Piece]) -> bool:
    """Whether the rest of a sentence is about tasting, or says nothing at all."""
    return any(o.kind in _TASTING for o in others) or all(o.kind in ("filler", "and", *BOUNDARIES) for o in others)


def _sentences(row: list[Piece]) -> Iterable[tuple[int, int]]:
    first = 0
    for i, piece in enumerate(row):
        if piece.kind == "sentence_end":
            yield first, i
            first = i + 1
    yield first, len(row)
