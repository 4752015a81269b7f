"""Sentences of the app: found in its JavaScript, and written in each language as a file that the app loads.

The calls are found by their shape and not by Babel's reader of JavaScript, which loses its place in template strings
inside template strings, as `html` has them. What stands between the brackets is read as Python, whose strings in double
quotes are the same.
"""

import io
import json
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract

APP = Path(__file__).resolve().parent.parent / "table" / "static" / "table"
LEXICON = APP.parents[2] / "tastings" / "data" / "lexicon.json"
NOT_OURS = "vendor"
GENERATED = "words"
STRING = r'"(?:[^"\\\n]|\\.)*"'
CALL = re.compile(rf"(?<![\w.])(?:_|n?p?gettext)\(\s*{STRING}(?:\s*,\s*{STRING})*")
KEYWORDS: dict[str, tuple[int | tuple[int, str], ...] | None] = {
    "_": None,
    "ngettext": (1, 2),
    "pgettext": ((1, "c"), 2),
}
CONTEXT_END = "\x04"
"""Separator of context and message in a compiled catalogue."""
DATA_CONTEXTS = frozenset({"descriptor"})
"""Contexts of the messages of data files that the app shows."""


def app_sources() -> list[Path]:
    """Return the app's own modules."""
    return sorted(file for file in APP.rglob("*.js") if file.relative_to(APP).parts[0] not in (NOT_OURS, GENERATED))


def app_messages() -> Iterator[tuple[str | tuple[str, ...], str | None, Path]]:
    """Yield message (or its singular and plural), context and file of every call in the app."""
    for file in app_sources():
        calls = "\n".join(f"{call.group()})" for call in CALL.finditer(file.read_text("utf-8")))
        for _line, message, _comments, context in extract("python", io.BytesIO(calls.encode()), keywords=KEYWORDS):
            yield message, context, file


def built_in_file() -> Path:
    """Return the module with the built-in descriptors, which no sync brings."""
    return APP / GENERATED / "built_in.js"


def built_in_module() -> str:
    """Return the built-in descriptors as a module of JavaScript: the fields of each that say something, a line each."""
    descriptors = json.loads(LEXICON.read_text("utf-8"))["descriptors"]
    filled = ({name: value for name, value in fields.items() if value} for fields in descriptors)
    lines = ",\n".join(json.dumps(fields, ensure_ascii=False, separators=(",", ":")) for fields in filled)
    return f"export default [\n{lines}\n];\n"


def words_file(language: str) -> Path:
    """Return the module with the app's sentences in a language."""
    return APP / GENERATED / f"{language}.js"


def words_module(catalog: Catalog, data_messages: Iterable[tuple[str, str, str]]) -> str:
    """Return the app's sentences of a catalogue as a module: by context and message, in one form or two."""
    ids = {(message if isinstance(message, str) else message[0], context) for message, context, _ in app_messages()}
    ids |= {(message, context) for context, message, _ in data_messages if context in DATA_CONTEXTS}
    words = {}
    for message, context in ids:
        translation = catalog.get(message, context=context)
        if translation is not None and translation.string:
            words[f"{context}{CONTEXT_END}{message}" if context else message] = translation.string
    return f"export default {json.dumps(words, ensure_ascii=False, indent=0, sort_keys=True)};\n"
