"""Sentences of the app: found in its JavaScript, and written in each language as a file that the app loads.

The calls are found by their shape and not by Babel's reader of JavaScript, which loses its place in template strings
inside template strings, as `html` has them. What stands between the brackets is read as Python, whose strings in double
quotes are the same.
"""

import io
import json
import re
from collections.abc import Iterator, Mapping
from itertools import groupby
from pathlib import Path
from typing import Any

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
BUILT_IN_MODULE = """// The built-in descriptors by family: key, label, synonyms. No key: it follows from the label.
const families = [
%(families)s
];

const keyOf = (label) => label.toLowerCase().replace(/[^a-z0-9]+/g, "_");

export default families.flatMap(([family, rated_each_infusion, words]) =>
  words.map(([key, label, ...synonyms]) => (
    { key: key || keyOf(label), label, family, rated_each_infusion, synonyms }
  )),
);
"""
WORDS_MODULE = """import builtIn from "./built_in.js";

const words = %(words)s;
const labels = %(labels)s; // of the built-in descriptors, in their order

builtIn.forEach(({ label }, i) => (words[`descriptor%(context_end)s${label}`] = labels[i]));
export default words;
"""


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
    """Return the built-in descriptors as a module of JavaScript, each family's together: the app's shell is limited."""
    descriptors = json.loads(LEXICON.read_text("utf-8"))["descriptors"]
    families = []
    for (family, is_rated), of_family in groupby(
        descriptors, key=lambda fields: (fields["family"], fields.get("rated_each_infusion", False))
    ):
        words = ",\n".join(_json(_short(fields)) for fields in of_family)
        families.append(f"[{_json(family)},{_json(is_rated)},[\n{words}]]")
    return BUILT_IN_MODULE % {"families": ",\n".join(families)}


def _short(fields: Mapping[str, Any]) -> list[str]:
    """Return key, label and synonyms of a descriptor; no key where `BUILT_IN_MODULE` makes it of the label."""
    key, label = fields["key"], fields["label"]
    follows = re.sub(r"[^a-z0-9]+", "_", label.lower()) == key
    return ["" if follows else key, label, *fields.get("synonyms", [])]


def words_file(language: str) -> Path:
    """Return the module with the app's sentences in a language."""
    return APP / GENERATED / f"{language}.js"


def words_module(catalog: Catalog) -> str:
    """Return the app's sentences of a catalogue as a module: by context and message, in one form or two.

    Labels of the built-in descriptors stand in the order of `built_in_module`, which has the English ones already.
    """
    ids = {(message if isinstance(message, str) else message[0], context) for message, context, _ in app_messages()}
    words = {}
    for message, context in ids:
        translation = catalog.get(message, context=context)
        if translation is not None and translation.string:
            words[f"{context}{CONTEXT_END}{message}" if context else message] = translation.string
    labels = [fields["label"] for fields in json.loads(LEXICON.read_text("utf-8"))["descriptors"]]
    messages = [catalog.get(label, context="descriptor") for label in labels]
    translated = [message.string if message else label for message, label in zip(messages, labels, strict=True)]
    in_order = dict(sorted(words.items()))
    written = {"words": _json(in_order, after=",\n"), "labels": _json(translated, after=",\n")}
    return WORDS_MODULE % {**written, "context_end": r"\u0004"}


def _json(value: object, *, after: str = ",") -> str:
    return json.dumps(value, ensure_ascii=False, separators=(after, ":"))
