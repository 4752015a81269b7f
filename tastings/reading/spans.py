"""A text as a row of spans, each with a sense: flavour words, negations, degrees, ends of clauses, and the rest."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from tastings.reading.language import Context, Kind, Phrase, Rules, Sense
from tastings.reading.lexicon import Lexicon
from tastings.reading.tokens import Token, tokens

BOUNDARIES: tuple[Kind, ...] = ("sentence_end", "contrast", "clause_end", "comma")
"""Senses that end a clause."""
_SCALES = (5.0, 10.0, 100.0)
_HANDLED_WINDOW = 4
"""How many words after "ate" or "bought" may name what was eaten or bought."""
_TASTING: frozenset[Kind] = frozenset(
    {"cue", "degree", "term", "more", "less", "not", "weak", "rises", "falls", "gone", "score", "number"}
)
_NO_CONTEXT = Context(frozenset(), frozenset())


@dataclass(frozen=True, slots=True)
class Span:
    """One phrase with its sense and its place in the text."""

    sense: Sense
    words: tuple[str, ...]
    start: int
    end: int
    graded: "Span | None" = None
    """What grades it across another term: the long of a long sweet finish."""

    @property
    def kind(self) -> Kind:
        """What it is: term, not, degree, ..."""
        return self.sense.kind

    def as_kind(self, kind: Kind, *, keys: tuple[str, ...] = (), value: float | None = None) -> "Span":
        """Return the same words with another sense."""
        return replace(self, sense=Sense(kind, keys, value))


def spans(text: str, lexicon: Lexicon) -> list[Span]:
    """Cut a text into spans, the longest phrase first, and settle the sense of words by the words beside them."""
    row = _cut(tokens(text, lexicon.language.rules.simplified), lexicon)
    for settle in (_apply_own_degrees, _apply_look_sense, _drop_by_context, _apply_carriers, _drop_isolated):
        row = settle(row, lexicon)
    return row


def _cut(typed: list[Token], lexicon: Lexicon) -> list[Span]:
    words = [
        lexicon.correct_spelling(token.normalised) if token.kind == "word" else token.normalised for token in typed
    ]
    row: list[Span] = []
    i = 0
    while i < len(typed):
        n, sense = _number(words, typed, i, lexicon) or _phrase(words, i, lexicon) or (1, _single_token_sense(typed[i]))
        row.append(Span(sense, tuple(words[i : i + n]), typed[i].start, typed[i + n - 1].end))
        i += n
    return row


def _phrase(words: list[str], i: int, lexicon: Lexicon) -> tuple[int, Sense] | None:
    for n in range(min(lexicon.longest, len(words) - i), 0, -1):
        sense = lexicon.sense(tuple(words[i : i + n]))
        if sense is not None:
            return n, sense
    return None


def _single_token_sense(token: Token) -> Sense:
    match token.kind:
        case "end":
            return Sense("sentence_end")
        case "mark":
            return Sense("comma")
        case _:
            return Sense("other")


def _number(words: list[str], typed: list[Token], i: int, lexicon: Lexicon) -> tuple[int, Sense] | None:
    """Read a number: "7/10" and "3 out of 5" say their scale; a bare one may count anything."""
    if (value := _value(words[i], typed[i], lexicon)) is None:
        return None
    for connector in (["/"], ["out", "of"]):
        n = len(connector) + 2
        if words[i + 1 : i + n - 1] == connector and i + n <= len(words):
            scale = _value(words[i + n - 1], typed[i + n - 1], lexicon)
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


def _apply_own_degrees(row: list[Span], lexicon: Lexicon) -> list[Span]:
    """Read a word that grades one term only as its degree: a long (sweet) finish, a full body, the finish is long."""
    rules = lexicon.language.rules
    done = list(row)
    for i, span in enumerate(row):
        text = " ".join(span.words) if span.words[0].isascii() else "".join(span.words)
        for j in _terms_after(row, i):
            is_next = j == i + 1
            value = _own_degree(row[j], text, rules)
            if value is not None and is_next:
                done[i] = span.as_kind("degree", value=value)
            elif value is not None:
                done[i], done[j] = (
                    span.as_kind("filler"),
                    replace(done[j], graded=span.as_kind("degree", value=value)),
                )
            if value is not None:
                break
            if is_next and text in rules.degree_before_a_term:
                done[i] = span.as_kind("degree", value=rules.degree_before_a_term[text])
        value = _own_degree(_before(row, i), text, rules)
        if value is not None and done[i] is span and span.kind != "term":
            done[i] = span.as_kind("degree", value=value)
    return done


def _own_degree(span: Span, text: str, rules: Rules) -> float | None:
    """Return the degree that a text has for just this term."""
    return next((own[text] for key in span.sense.keys if text in (own := rules.own_degrees.get(key, {}))), None)


def _terms_after(row: list[Span], i: int) -> Iterator[int]:
    """Return the places of at most three terms right after a span."""
    for j in range(i + 1, min(i + 4, len(row))):
        if row[j].kind != "term":
            return
        yield j


def _before(row: list[Span], i: int) -> Span:
    """Return the last of the three spans before that says something; the span itself if there is none."""
    return next((row[j] for j in range(i - 1, max(-1, i - 4), -1) if row[j].kind not in ("filler", "cue")), row[i])


def _apply_look_sense(row: list[Span], lexicon: Lexicon) -> list[Span]:
    """Read colours and shapes as the look of liquor or leaf if one of these stands near, else as other words."""
    rules = lexicon.language.rules
    done = list(row)
    for family, look in rules.looks.items():
        words = {lexicon.language.cut(text): key for text, key in look.words.items()}

        def is_head(span: Span, heads: frozenset[str] = look.heads) -> bool:
            return bool(heads & {*span.words, " ".join(span.words)})

        def is_look(span: Span, words: Mapping[Phrase, str] = words, family: str = family) -> bool:
            return span.words in words or span.sense.family == family

        for i, span in enumerate(row):
            is_term = span.kind == "term" and span.sense.family == family and _is_one_english_word(span)
            if not is_term and span.words not in words:
                continue
            if _is_near_head(row, i, is_head, is_look):
                if not is_term:
                    done[i] = span.as_kind("term", keys=(words[span.words],))
            elif is_term and span.words[0] not in rules.look_alone:
                done[i] = span.as_kind("other")
    return done


def _is_one_english_word(span: Span) -> bool:
    return len(span.words) == 1 and span.words[0].isascii()


def _is_near_head(row: list[Span], i: int, is_head: Callable[[Span], bool], is_look: Callable[[Span], bool]) -> bool:
    """Whether a head stands beside the span, with nothing but more of its kind between them."""
    between = ("filler", "degree", "and", "comma", "more", "less", "not", "weak")
    for way in (range(i + 1, len(row)), range(i - 1, -1, -1)):
        for j in way:
            if is_head(row[j]):
                return True
            if not (row[j].kind in between or is_look(row[j])):
                break
    return False


def _drop_by_context(row: list[Span], lexicon: Lexicon) -> list[Span]:
    """Drop terms that are things handled, things named after a flavour, or other words in their context."""
    done: list[Span] = []
    handled = 0
    for i, span in enumerate(row):
        if span.kind == "handle":
            handled = _HANDLED_WINDOW
        elif span.kind == "cue" or span.kind in BOUNDARIES:
            handled = 0
        is_blocked = span.kind == "term" and (handled > 0 or _is_no_flavour(row, i, lexicon.language.rules))
        done.append(span.as_kind("other") if is_blocked else span)
        handled = max(0, handled - 1)
    return done


def _is_no_flavour(row: list[Span], i: int, rules: Rules) -> bool:
    """Whether the words beside a term make it a thing, another word, or only how the next term was made."""
    before = row[i - 1].words[-1] if i else ""
    after = row[i + 1].words[0] if i + 1 < len(row) else ""
    context = rules.contexts.get(" ".join(row[i].words), _NO_CONTEXT)
    if after in rules.things or before in context.after or after in context.before:
        return True
    qualified = rules.attributes.get(row[i].words[-1], ())
    return i + 1 < len(row) and row[i + 1].kind == "term" and row[i + 1].sense.family in qualified


def _apply_carriers(row: list[Span], lexicon: Lexicon) -> list[Span]:
    """Read "aroma" and "finish" as carrying another term where they do: a peach aroma, an aroma of peach."""
    carriers = lexicon.language.rules.carriers
    done = list(row)
    for i, span in enumerate(row):
        if span.kind != "term" or carriers.isdisjoint(span.sense.keys):
            continue
        after = row[i + 1].words[0] if i + 1 < len(row) else ""
        carries = i > 0 and row[i - 1].kind == "term" and span.graded is None
        if carries or (after in ("of", "like") and i + 2 < len(row)):
            done[i] = span.as_kind("cue")
    return done


def _drop_isolated(row: list[Span], lexicon: Lexicon) -> list[Span]:
    """Drop terms that count only next to other words of tasting ("soap", "library"), and feelings of nobody."""
    rules = lexicon.language.rules
    need_company = {lexicon.language.cut(text) for text in rules.needs_company}
    done = list(row)
    for first, last in _sentences(row):
        for i in range(first, last):
            span, others = row[i], [*row[first:i], *row[i + 1 : last]]
            if span.kind != "term":
                continue
            heads = rules.needs_heads.get(span.sense.family) if _is_one_english_word(span) else None
            is_felt = heads is None or any(word in heads for other in others for word in other.words)
            if not is_felt or (span.words in need_company and not _is_company(others)):
                done[i] = span.as_kind("other")
    return done


def _is_company(others: Sequence[Span]) -> bool:
    """Whether the rest of a sentence is about tasting, or says nothing at all."""
    return any(o.kind in _TASTING for o in others) or all(o.kind in ("filler", "and", *BOUNDARIES) for o in others)


def _sentences(row: list[Span]) -> Iterable[tuple[int, int]]:
    first = 0
    for i, span in enumerate(row):
        if span.kind == "sentence_end":
            yield first, i
            first = i + 1
    yield first, len(row)
