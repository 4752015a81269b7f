"""PostgreSQL's own programs in a version that fits the server, and the environment that points them at it."""

import os
import re
import shutil
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from django.db import connection

from config.dev.home import LaunchError
from config.dev.postgres import bin_folder

_NEEDED = ("pg_dump", "pg_restore", "psql")


class BackupError(Exception):
    """The backup or the restore cannot be done, for a reason that the operator can do something about."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PostgresTools:
    """A folder with pg_dump, pg_restore and psql, and their major version."""

    folder: Path
    major: int

    def command(self, name: str, *options: str) -> list[str]:
        """Return the beginning of a command line."""
        return [str(self.folder / name), "--no-password", *options]


def find_tools(*majors: int, folders: Sequence[Path] | None = None) -> PostgresTools:
    """Return the oldest programs that are as new as every version given; raise BackupError if there are none.

    An older pg_dump refuses a newer server, and an older pg_restore a newer pg_dump's archive.
    """
    newest = max(majors)
    candidates = [
        PostgresTools(folder=folder, major=major)
        for folder in (_folders() if folders is None else folders)
        if (major := _major(folder)) is not None and major >= newest
    ]
    if not candidates:
        raise BackupError(
            f"needs pg_dump, pg_restore and psql of PostgreSQL {newest} or later: install its client programs, or name"
            " their folder in LEAFSPAN_POSTGRES_BIN"
        )
    return min(candidates, key=lambda tools: tools.major)  # of equals the first


def _folders() -> Iterator[Path]:
    with suppress(LaunchError):  # there may be no embedded PostgreSQL on this machine
        yield bin_folder(os.environ)
    for pattern in ("usr/lib/postgresql/*/bin", "usr/pgsql-*/bin", "opt/homebrew/opt/postgresql@*/bin"):
        yield from sorted(Path("/").glob(pattern))
    if program := shutil.which("pg_dump"):
        yield Path(program).parent


def _major(folder: Path) -> int | None:
    if not all((folder / name).exists() for name in _NEEDED):
        return None
    try:
        output = subprocess.run(  # noqa: S603 - a program of PostgreSQL's
            [str(folder / "pg_dump"), "--version"], capture_output=True, text=True, check=False, timeout=20
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    version = re.search(r"\) (\d+)", output.stdout)
    return int(version.group(1)) if version else None


def server_major() -> int:
    """Return the major version of the server."""
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version_num")
        return int(cursor.fetchone()[0]) // 10_000


_TLS_OPTIONS = ("sslmode", "sslrootcert", "sslcert", "sslkey")
"""Options of a connection that libpq also reads from the environment, as PGSSLMODE and so on."""


def environment(database: Mapping[str, object]) -> dict[str, str]:
    """Return the environment that leads to the database; a command line could be read by others."""
    variables = {"PGHOST": "HOST", "PGPORT": "PORT", "PGUSER": "USER", "PGPASSWORD": "PASSWORD", "PGDATABASE": "NAME"}
    values = {name: str(database.get(setting) or "") for name, setting in variables.items()}
    if isinstance(options := database.get("OPTIONS"), Mapping):
        values |= {f"PG{name.upper()}": str(options.get(name) or "") for name in _TLS_OPTIONS}
    return {**os.environ, **{name: value for name, value in values.items() if value}, "PGCLIENTENCODING": "UTF8"}
