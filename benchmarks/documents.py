"""Writes tables into the pages of ``docs/``."""

from pathlib import Path

DOCS = Path(__file__).resolve().parents[1] / "docs"


def write_between_marks(page: str, name: str, text: str) -> None:
    """Replace what stands in a page between ``<!-- name -->`` and ``<!-- end of name -->``."""
    path, start, end = DOCS / page, f"<!-- {name} -->\n", f"<!-- end of {name} -->\n"
    content = path.read_text()
    path.write_text(content[: content.index(start) + len(start)] + text + content[content.index(end) :])
