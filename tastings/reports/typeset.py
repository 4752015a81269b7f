"""Typesets documents: PDF and PNG from a payload and a layout.

The layout reads the payload from a JSON file, never as markup, so text from a field stays text. The same payload,
layout, typesetter and fonts give the same bytes: there is no date in them.

A character that no font can draw would be left out silently. The PDF is therefore made to the PDF/UA-1 standard: the
typesetter refuses such text and names the characters. The document is then set again with `REPLACEMENT` in their place
and a note.
"""

import hashlib
import json
import re
import unicodedata
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory

import typst

LAYOUTS = Path(__file__).resolve().parent.parent / "layouts"
REPLACEMENT = "\u25a1"
_UNDRAWN = re.compile(r'error: PDF/UA-1 error: the text `"(.*?)"` could not be displayed', re.DOTALL)
_MAX_ATTEMPTS = 6
_LONGEST_WORD = 18  # characters; a longer word may break without a hyphen
_PNG_PPI = 150.0
_UNDRAWABLE = ("Cc", "Cs", "Co", "Cn")  # Unicode categories: control, surrogate, private, unassigned
_BREAK = "\u200b"
_LONG = re.compile(rf"[^\s{_BREAK}]{{{_LONGEST_WORD}}}(?=[^\s{_BREAK}])")


class TypesetError(ValueError):
    """The typesetter failed."""


def digest_of(layout: str, form: str, payload: Mapping[str, object]) -> str:
    """Return the SHA-256 of typesetter, layouts, form and payload: all that decides the bytes but the fonts."""
    written = json.dumps([layout, form, payload], sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(f"{_style()} {written}".encode()).hexdigest()


@cache
def _style() -> str:
    layouts = b"".join(path.read_bytes() for path in (*sorted(LAYOUTS.glob("*.typ")), Path(__file__)))
    return f"{version('typst')} {hashlib.sha256(layouts).hexdigest()}"


def typeset(
    layout: str, form: str, payload: Mapping[str, object], *, pictures: Mapping[str, bytes] | None = None
) -> bytes:
    """Typeset ``payload``, plain JSON, with a layout of ``tastings/layouts``: as ``pdf``, or its first page as ``png``.

    ``pictures`` are JPEG files by their ``file`` in the payload's ``photos`` and ``logo``; what has no file is left
    out. Raise TypesetError if the layout cannot be typeset.
    """
    files = dict(pictures or {})
    photos, logo = payload.get("photos"), payload.get("logo")
    photos = [photo for photo in photos if _has_file(photo, files)] if isinstance(photos, Sequence) else []
    logo = logo if _has_file(logo, files) else None
    data = {**payload, "form": form, "photos": photos, "logo": logo, "missing": []}
    missing = {c for c in _characters(payload) if unicodedata.category(c) in _UNDRAWABLE and c not in "\t\n\r"}
    with TemporaryDirectory(prefix="leafspan-") as folder:
        root = Path(folder)
        for path in LAYOUTS.glob("*.typ"):
            (root / path.name).write_bytes(path.read_bytes())
        for name, picture in files.items():
            (root / Path(name).name).write_bytes(picture)
        for _ in range(_MAX_ATTEMPTS):
            (root / "content.json").write_text(json.dumps(with_drawable_text(data, missing=missing)))
            try:
                pdf = _compiled(root, layout, form="pdf")
            except typst.TypstError as error:
                named = {c for text in _UNDRAWN.findall(error.diagnostic) for c in _unescaped(text) if c > " "}
                if not named - missing:
                    raise TypesetError(error.message) from error
                missing |= named
                continue
            return pdf if form == "pdf" else _compiled(root, layout, form="png")
    raise TypesetError(f"there were still characters that no font can draw after {_MAX_ATTEMPTS} attempts")


def _has_file(picture: object, files: Mapping[str, bytes]) -> bool:
    return isinstance(picture, Mapping) and picture.get("file") in files


def _compiled(root: Path, layout: str, *, form: str) -> bytes:
    source, fonts = str(root / f"{layout}.typ"), _fonts()
    if form == "pdf":
        return typst.compile(
            source, root=str(root), font_paths=fonts, format="pdf", pdf_standards=["ua-1"], timestamp=0
        )
    return _first_page(typst.compile(source, root=str(root), font_paths=fonts, format="png", ppi=_PNG_PPI))


def _first_page(pages: bytes | list[bytes]) -> bytes:
    """Return the first page: one comes as bytes, several as a list."""
    return pages[0] if isinstance(pages, list) else pages


@cache
def _fonts() -> typst.Fonts:
    return typst.Fonts()


def _unescaped(text: str) -> str:
    """Undo the escapes in the typesetter's messages."""
    return re.sub(r"\\u\{([0-9a-fA-F]+)\}", lambda m: chr(int(m[1], 16)), text)


def with_drawable_text(payload: object, *, missing: set[str]) -> object:
    """Return the payload, plain JSON, with missing characters replaced, and with places where long words may break.

    If any are missing, ``missing`` of the result lists them and ``missing_note`` is a sentence about them.
    """
    if isinstance(payload, str):
        return _LONG.sub(rf"\g<0>{_BREAK}", "".join(_drawn(c, missing) for c in payload))
    if isinstance(payload, Mapping):
        drawable = {
            key: value if key == "file" else with_drawable_text(value, missing=missing)
            for key, value in payload.items()
        }
        if "missing" in drawable and missing:
            codes = [f"U+{ord(c):04X}" for c in sorted(missing)]
            drawable |= {"missing": codes, "missing_note": f"{payload['missing_words']} {', '.join(codes[:60])}"}
        return drawable
    if isinstance(payload, Sequence):
        return [with_drawable_text(item, missing=missing) for item in payload]
    return payload


def _characters(payload: object) -> set[str]:
    """Return all characters of the payload's texts."""
    if isinstance(payload, str):
        return set(payload)
    parts = payload.values() if isinstance(payload, Mapping) else payload if isinstance(payload, Sequence) else ()
    return set().union(*(_characters(part) for part in parts))


def _drawn(character: str, missing: set[str]) -> str:
    """Return the character, or its normal form if only that can be drawn, or the replacement."""
    if character in "\t\n\r":
        return " "
    if character not in missing:
        return character
    normal = unicodedata.normalize("NFKC", character)
    return normal if normal != character and not set(normal) & missing else REPLACEMENT
