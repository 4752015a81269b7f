"""The files of the app: what the service worker stores so that the app opens without a network."""

import hashlib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

ROOM = Path(__file__).parent
FILES = ROOM / "static" / "table"
SUFFIXES = (".js", ".css", ".svg", ".png")
PAGE = ROOM / "templates" / "table" / "shell.html"
WORKER = ROOM / "service_worker.js"


def shell_files() -> Mapping[str, str]:
    """Return the SHA-256 of every file of the app in hexadecimal, by its name below ``static/``."""
    files = sorted(file for file in FILES.rglob("*") if file.suffix in SUFFIXES)
    return {f"table/{file.relative_to(FILES).as_posix()}": _digest(file, _state(file)) for file in files}


def shell_version() -> str:
    """Return a digest that differs when any file, the page or the service worker does."""
    parts = [f"{name} {digest}" for name, digest in shell_files().items()]
    parts += [_digest(file, _state(file)) for file in (PAGE, WORKER)]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]


def _state(file: Path) -> tuple[int, int]:
    """Return what changes when a file is written."""
    stat = file.stat()
    return stat.st_mtime_ns, stat.st_size


@lru_cache(maxsize=1000)
def _digest(file: Path, state: tuple[int, int]) -> str:  # noqa: ARG001 - part of the cache's key
    return hashlib.sha256(file.read_bytes()).hexdigest()
