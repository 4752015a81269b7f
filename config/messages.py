"""The translation catalogue: every sentence in the code, the templates, the app and the data files, and its German.

Django's ``makemessages`` and ``compilemessages`` need GNU gettext, which a machine with Python alone does not have;
Babel reads and writes the same files.
"""

import io
import json
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.conf import settings
from django.utils.translation.template import templatize

from config.app_messages import app_messages, built_in_file, built_in_module, words_file, words_module

ROOT = Path(__file__).resolve().parent.parent
LANGUAGES = tuple(code for code, _name in settings.LANGUAGES if code != settings.LANGUAGE_CODE)
"""Besides English, in which the messages are written."""
FOLDERS = ("api", "config", "lots", "pages", "table", "tastings", "teams")
WRITTEN = datetime(2026, 11, 28, tzinfo=UTC)
KEYWORDS: dict[str, tuple[int | tuple[int, str], ...] | None] = {
    **dict.fromkeys(("_", "gettext", "gettext_lazy", "gettext_noop"), None),
    **dict.fromkeys(("ngettext", "ngettext_lazy"), (1, 2)),
    **dict.fromkeys(("pgettext", "pgettext_lazy"), ((1, "c"), 2)),
    **dict.fromkeys(("npgettext", "npgettext_lazy"), ((1, "c"), 2, 3)),
}


def po_file(language: str) -> Path:
    """Return where the translations of a language are written by people."""
    return ROOT / "config" / "locale" / language / "LC_MESSAGES" / "django.po"


def mo_file(language: str) -> Path:
    """Return where Django reads the translations of a language."""
    return po_file(language).with_suffix(".mo")


def messages_in_use() -> Catalog:
    """Return every message of the code, the templates, the app and the data files, without translations."""
    catalog = _new()
    for file in _sources():
        text = file.read_text("utf-8")
        if file.suffix == ".html":
            text = templatize(text)
        for _line, message, _comments, context in extract(
            "python", io.BytesIO(text.encode()), keywords=KEYWORDS, options={"encoding": "utf-8"}
        ):
            catalog.add(message, locations=[(file.relative_to(ROOT).as_posix(), 0)], context=context)
    for message, context, file in app_messages():
        catalog.add(message, locations=[(file.relative_to(ROOT).as_posix(), 0)], context=context)
    for context, message, place in _data_messages():
        catalog.add(message, locations=[(place, 0)], context=context)
    return catalog


def catalogue_of(language: str) -> Catalog:
    """Return the translations of a language, empty if there is no file yet."""
    file = po_file(language)
    if not file.exists():
        return _new(locale=language)
    with file.open("rb") as lines:
        return read_po(lines, locale=language)


def update(language: str) -> list[Message]:
    """Write the catalogue of a language with the messages in use, and compile it; return what has no translation."""
    catalog = catalogue_of(language)
    in_use = messages_in_use()
    catalog.update(in_use, no_fuzzy_matching=True)
    catalog.creation_date = catalog.revision_date = WRITTEN  # or every run would change the file
    catalog.obsolete.clear()
    file = po_file(language)
    file.parent.mkdir(parents=True, exist_ok=True)
    with file.open("wb") as lines:
        write_po(lines, catalog, width=120, sort_output=True, omit_header=False, include_lineno=False)
    mo_file(language).write_bytes(compiled(language))
    words_file(language).parent.mkdir(exist_ok=True)
    words_file(language).write_text(app_words(language), "utf-8")
    built_in_file().write_text(built_in_module(), "utf-8")
    return untranslated(language, in_use)


def compiled(language: str) -> bytes:
    """Return the compiled form of a language's file."""
    written = io.BytesIO()
    write_mo(written, catalogue_of(language))
    return written.getvalue()


def app_words(language: str) -> str:
    """Return the app's sentences in a language, as the module that the app loads."""
    return words_module(catalogue_of(language))


def untranslated(language: str, in_use: Catalog) -> list[Message]:
    """Return the messages in use that a language's file does not translate, or translates with other placeholders."""
    catalog = catalogue_of(language)
    return [
        message
        for message in in_use
        if message.id and not _is_translated(catalog.get(_key(message.id), context=message.context))
    ]


def _new(locale: str | None = None) -> Catalog:
    return Catalog(
        locale,
        project="Leafspan",
        version="1",
        header_comment="# Messages of Leafspan.",
        msgid_bugs_address="the project's issues",
        last_translator="the project's own",
        fuzzy=False,
    )


def _is_translated(message: Message | None) -> bool:
    if message is None or message.fuzzy:
        return False
    texts = message.string if isinstance(message.string, tuple | list) else (message.string,)
    has_placeholders = "%(" in str(message.id)  # all are named; Babel takes "80 % interval" for one that is not
    return all(texts) and not (has_placeholders and list(message.check()))


def _key(message_id: str | Sequence[str]) -> str:
    return message_id if isinstance(message_id, str) else message_id[0]


def _sources() -> list[Path]:
    files = [file for folder in FOLDERS for file in (ROOT / folder).rglob("*")]
    return sorted(file for file in files if file.suffix == ".py" or (file.suffix == ".html" and file.is_file()))


def _data_messages() -> Iterator[tuple[str, str, str]]:
    """Yield context, word and file of what the data files show to people."""
    for context, place, key in (
        ("descriptor", "tastings/data/lexicon.json", "descriptors"),
        ("liquor colour", "tastings/data/liquor_colours.json", "terms"),
    ):
        for message in json.loads((ROOT / place).read_text("utf-8"))[key]:
            yield context, message["label"], place
