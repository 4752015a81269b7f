"""Names in the code use words of Django, statistics and tea: a list of private words must not come back."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ("api", "benchmarks", "config", "lots", "pages", "table", "tastings", "teams", "tests")
PRIVATE = frozenset(
    {"believed", "deed", "deeds", "dialect", "ground", "heard", "held", "misfit", "misfits", "otherwise", "said",
     "strangers", "tell", "teller", "telling", "told", "walled", "walls", "wish", "wishes", "wobble", "worked"}
)  # fmt: skip
VAGUE = frozenset({"found", "one"})
"""Names that no product code gives: such a variable is named after what it holds."""
ALLOWED = {
    "held_on": "JSON key and column of a triangle test's day",
    "otherwise": "JSON key of a lot's development, and its field of one infusion",
    "Otherwise": "component of the OpenAPI document",
    "OtherwisePoint": "component of the OpenAPI document",
    "held_out": "statistics: a data set that was not used for development",
}
"""Names that have such a word, with the reason."""


def python_files() -> list[Path]:
    found = [file for name in FOLDERS for file in (ROOT / name).rglob("*.py")]
    return sorted(file for file in found if "migrations" not in file.parts)


def defined_names(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Yield line and name of every function, class, argument, variable, attribute and alias that code defines."""
    for node in ast.walk(tree):
        match node:
            case ast.FunctionDef() | ast.AsyncFunctionDef() | ast.ClassDef():
                yield node.lineno, node.name
            case ast.arg():
                yield node.lineno, node.arg
            case ast.Name(ctx=ast.Store()):
                yield node.lineno, node.id
            case ast.Attribute(ctx=ast.Store()):
                yield node.lineno, node.attr
            case ast.alias(asname=str(name)):
                yield node.lineno, name
            case ast.MatchAs(name=str(name)) | ast.MatchStar(name=str(name)):
                yield node.lineno, name
            case ast.ExceptHandler(name=str(name)):
                yield node.lineno, name
            case _:
                pass


def parts(name: str) -> set[str]:
    """Return the words of a name in lower case: of ``heldOn``, ``HeldOn``, ``HELD_ON`` and ``held_on`` the same two."""
    return {part.lower() for part in re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", name)}


@cache
def names_of(file: Path) -> list[tuple[int, str]]:
    """Return line and name of all that a file defines."""
    return names_in(file.read_text())


def names_in(source: str) -> list[tuple[int, str]]:
    return sorted(defined_names(ast.parse(source)))


def private_names(names: list[tuple[int, str]]) -> list[tuple[int, str]]:
    """Return line and name of what has a private word; the sentence that names a test is prose."""
    return [
        (line, name)
        for line, name in names
        if parts(name) & PRIVATE and name not in ALLOWED and not name.startswith("test_")
    ]


def vague_names(names: list[tuple[int, str]]) -> list[tuple[int, str]]:
    """Return line and name of what is called anything whatever."""
    return [(line, name) for line, name in names if name in VAGUE]


def test_no_name_has_a_private_word():
    found = [
        f"{file.relative_to(ROOT)}:{line}: {name}"
        for file in python_files()
        for line, name in private_names(names_of(file))
    ]
    if found:
        pytest.fail(
            "use the word that a Django, statistics or tea person would use (a JSON key goes into ALLOWED, with the "
            "reason):\n" + "\n".join(found),
            pytrace=False,
        )


def test_no_name_in_product_code_is_vague():
    found = [
        f"{file.relative_to(ROOT)}:{line}: {name}"
        for file in python_files()
        if file.relative_to(ROOT).parts[0] != "tests"
        for line, name in vague_names(names_of(file))
    ]
    if found:
        pytest.fail("name it after what it holds (row, report, curve, cups):\n" + "\n".join(found), pytrace=False)


@pytest.mark.parametrize("code", ["found = 1", "def f(one): ...", "[found for found in x]", "lambda one: 1"])
def test_vague_names_are_found(code):
    assert len(vague_names(names_in(code))) == 1


@pytest.mark.parametrize("code", ["found_at = 1", "x.y(one)", "f(found=1)", "'one'"])
def test_other_names_are_not_vague(code):
    assert vague_names(names_in(code)) == []


@pytest.mark.parametrize(
    "code",
    [
        "told = 1", "def f(*, said): ...", "def heard_by(): ...", "class HeldRow: ...", "self.was_told = 1",
        "import os as walls", "N_HELD = 1", "[x for said in y]", "lambda wish: 1", "with f() as held: ...",
        "for told, x in y: ...", "if (said := 1): ...", "match x:\n    case [told, *_]: ...",
        "try: ...\nexcept OSError as told: ...",
    ],
)  # fmt: skip
def test_private_words_are_found(code):
    assert len(private_names(names_in(code))) == 1


@pytest.mark.parametrize("code", ["withheld = 1", "scaffold_toldest = 1", "background = 1", "x.y(told)", "'held'"])
def test_other_words_are_not_taken_for_private_ones(code):
    assert private_names(names_in(code)) == []


def test_allowed_names_are_still_there():
    defined = {name for file in python_files() for _, name in names_of(file)}
    assert ALLOWED.keys() - defined == set()


TWINS = {"Development": "the figures of a lot, and the row in which they are stored"}
"""Names of two classes, with the reason. An answer of the API has the name of the figure or row it answers with."""


def test_no_two_classes_of_product_code_share_a_name():
    places: dict[str, list[str]] = {}
    for file in python_files():
        place = file.relative_to(ROOT)
        if place.parts[0] in {"tests", "benchmarks"} or place.parts[:2] == ("tastings", "answers"):
            continue
        for node in ast.parse(file.read_text()).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_") and node.name != "Command":
                places.setdefault(node.name, []).append(f"{place}:{node.lineno}")

    assert {name: where for name, where in places.items() if len(where) > 1}.keys() == TWINS.keys()
