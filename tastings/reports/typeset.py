"""Documents set in type: PDF and PNG from plain data and a layout.

The data reach the layout as a JSON file, never as markup, so that whatever was typed into a field stays text. The bytes
are the same whenever data, layout, typesetter and the machine's fonts are: no date stands in them.

A character that no font can draw would leave a hole without a word. The PDF is therefore set after PDF/UA-1, which
refuses such text and names it; it is then set again with `REPLACEMENT` in its place and a note that says so.
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
from typing import Any

import typst

LAYOUTS = Path(__file__).resolve().parent.parent / "layouts"
REPLACEMENT = "\u25a1"
_UNDRAWN = re.compile(r'error: PDF/UA-1 error: the text `"(.*?)"` could not be displayed', re.DOTALL)
_ROUNDS = 6
_LONGEST_WORD = 18  # characters without a place to break; then a break without a hyphen is allowed
_PNG_PPI = 150.0
_NO_LETTER = ("Cc", "Cs", "Co", "Cn")  # control, surrogate, private, unassigned: no font draws these
_BREAK = "\u200b"
_LONG = re.compile(rf"[^\s{_BREAK}]{{{_LONGEST_WORD}}}(?=[^\s{_BREAK}])")


class SettingError(ValueError):
    """The typesetter could not set a document."""


def digest_of(layout: str, form: str, told: Mapping[str, Any]) -> str:
    """Return the SHA-256 over all that decides a document's bytes, but for the fonts of the machine."""
    written = json.dumps([layout, form, told], sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(f"{_style()} {written}".encode()).hexdigest()


@cache
def _style() -> str:
    layouts = b"".join(path.read_bytes() for path in (*sorted(LAYOUTS.glob("*.typ")), Path(__file__)))
    return f"{version('typst')} {hashlib.sha256(layouts).hexdigest()}"


def typeset(layout: str, form: str, told: Mapping[str, Any], *, pictures: Mapping[str, bytes] | None = None) -> bytes:
    """Set a document.

    Parameters
    ----------
    layout : str
        Name of a file of ``tastings/layouts`` without its ending.
    form : str
        ``pdf`` or ``png``.
    told : mapping
        What the layout reads; plain JSON.
    pictures : mapping, optional
        JPEG files by the name under which ``photos`` of ``told`` speak of them; photos without one are left out.

    Returns
    -------
    bytes
        The file. A PNG is its pages' first.

    Raises
    ------
    SettingError
        The layout cannot be set.
    """
    held = dict(pictures or {})
    photos = [photo for photo in told.get("photos") or () if photo["file"] in held]
    whole = {**told, "form": form, "photos": photos, "missing": []}
    undrawn = {c for c in _characters(told) if unicodedata.category(c) in _NO_LETTER and c not in "\t\n\r"}
    with TemporaryDirectory(prefix="leafspan-") as folder:
        root = Path(folder)
        for path in LAYOUTS.glob("*.typ"):
            (root / path.name).write_bytes(path.read_bytes())
        for name, picture in held.items():
            (root / Path(name).name).write_bytes(picture)
        for _ in range(_ROUNDS):
            (root / "told.json").write_text(json.dumps(drawable(whole, without=undrawn)))
            try:
                pdf = _compiled(root, layout, form="pdf")
            except typst.TypstError as error:
                found = {c for text in _UNDRAWN.findall(error.diagnostic) for c in _unescaped(text) if c > " "}
                if not found - undrawn:
                    raise SettingError(error.message) from error
                undrawn |= found
                continue
            return pdf if form == "pdf" else _compiled(root, layout, form="png")
    raise SettingError("characters that no font can draw kept turning up")


def _compiled(root: Path, layout: str, *, form: str) -> bytes:
    source, fonts = str(root / f"{layout}.typ"), _fonts()
    if form == "pdf":
        return typst.compile(
            source, root=str(root), font_paths=fonts, format="pdf", pdf_standards=["ua-1"], timestamp=0
        )
    made: Any = typst.compile(source, root=str(root), font_paths=fonts, format="png", ppi=_PNG_PPI)
    first = made[0] if isinstance(made, list) else made  # one page is given as it is, several as a list
    return bytes(first)


@cache
def _fonts() -> typst.Fonts:
    return typst.Fonts()


def _unescaped(text: str) -> str:
    """Undo the escapes that the typesetter writes into its messages."""
    return re.sub(r"\\u\{([0-9a-fA-F]+)\}", lambda m: chr(int(m[1], 16)), text)


def drawable(told: Any, *, without: set[str]) -> Any:  # noqa: ANN401 - plain JSON in, plain JSON out
    """Return the data with every text made fit for setting: long words may break, what cannot be drawn is replaced.

    Where there is anything to replace, ``missing`` lists the characters and ``missing_note`` says so.
    """
    if isinstance(told, str):
        return _LONG.sub(rf"\g<0>{_BREAK}", "".join(_drawn(c, without) for c in told))
    if isinstance(told, Mapping):
        fit = {key: value if key == "file" else drawable(value, without=without) for key, value in told.items()}
        if "missing" in fit and without:
            codes = [f"U+{ord(c):04X}" for c in sorted(without)]
            fit |= {"missing": codes, "missing_note": f"{told['missing_words']} {', '.join(codes[:60])}"}
        return fit
    if isinstance(told, Sequence):
        return [drawable(one, without=without) for one in told]
    return told


def _characters(told: Any) -> set[str]:  # noqa: ANN401 - plain JSON
    """Return the characters of every text."""
    if isinstance(told, str):
        return set(told)
    parts = told.values() if isinstance(told, Mapping) else told if isinstance(told, Sequence) else ()
    return set().union(*(_characters(part) for part in parts))


def _drawn(character: str, without: set[str]) -> str:
    """Return what stands for a character: itself, or its plain form where that can be drawn, or the replacement."""
    if character in "\t\n\r":
        return " "
    if character not in without:
        return character
    plain = unicodedata.normalize("NFKC", character)
    return plain if plain != character and not set(plain) & without else REPLACEMENT
