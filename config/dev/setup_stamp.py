"""Whether the embedded database is set up already, so that a start need not load Django to find out.

The stamp lies in PostgreSQL's data folder and goes with it. It names what setting up depends on (the migrations, the
built-in descriptors, the packages and the application's role) and how many migrations had been applied, so that one
undone by hand is seen.
"""

import hashlib
import os
from contextlib import suppress
from pathlib import Path

from config.dev.home import ROOT
from config.dev.identity import data_folder

_SOURCES = (
    "*/migrations/*.py", "tastings/data/lexicon.json", "tastings/actions/lexicon.py", "teams/database_role.py",
    "config/requirements.txt",
)  # fmt: skip


def is_set_up(home: Path, database_url: str) -> bool:
    """Return whether the stamp is that of this code and of this database."""
    stamp = _stamp_file(home)
    return stamp.is_file() and stamp.read_text("utf-8") == _stamp(database_url)


def write_stamp(home: Path, database_url: str) -> None:
    """Note that the database has been set up by this code."""
    with suppress(OSError):  # without a stamp the next start sets up once more
        _stamp_file(home).write_text(_stamp(database_url), "utf-8")


def _stamp_file(home: Path) -> Path:
    return data_folder(home) / "leafspan-setup"


def _stamp(database_url: str) -> str:
    digest = hashlib.sha256(os.environ.get("LEAFSPAN_DATABASE_ROLE", "").encode())
    for source in sorted(file for pattern in _SOURCES for file in ROOT.glob(pattern)):
        digest.update(f"{source.relative_to(ROOT)} ".encode() + source.read_bytes())
    return f"{digest.hexdigest()} {_applied_migrations(database_url)}"


def _applied_migrations(database_url: str) -> int:
    import psycopg  # noqa: PLC0415 - in .venv only, and the launcher starts without it

    try:
        with psycopg.connect(database_url) as connection:
            row = connection.execute("SELECT count(*) FROM django_migrations").fetchone()
    except psycopg.Error:
        return 0
    return int(row[0]) if row else 0
