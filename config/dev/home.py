"""The data folder (``LEAFSPAN_HOME``): its lock, its secrets, private files in it."""

import fcntl
import json
import os
import secrets
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
"""The folder that holds manage.py."""


_STOPPING = "stopping"


class LaunchError(Exception):
    """Leafspan cannot start, for a reason that the person at the keyboard can do something about."""


def home_from(environ: Mapping[str, str]) -> Path:
    """Return the absolute data folder: ``LEAFSPAN_HOME``, or ``.leafspan`` beside manage.py."""
    return Path(environ.get("LEAFSPAN_HOME") or ROOT / ".leafspan").expanduser().absolute()


def photos_folder(home: Path, environ: Mapping[str, str]) -> Path:
    """Return the folder of the photos, as `config.settings` has it."""
    return Path(environ.get("LEAFSPAN_PHOTOS") or home / "photos")


def make_folder(folder: Path) -> Path:
    """Make a folder that only we can read; one that exists keeps its permissions."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise LaunchError(f"The folder {folder} cannot be made: {error.strerror}.") from error
    return folder


def write_private(path: Path, text: str) -> None:
    """Replace a file that only we can read; a reader sees the old text or the new, never half."""
    tmp_path = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with open(os.open(tmp_path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8") as file:  # noqa: PTH123 - a descriptor, so that the mode holds from the first byte
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        tmp_path.replace(path)
    except OSError as error:
        raise LaunchError(f"The file {path} cannot be written: {error.strerror}.") from error


def load_secrets(home: Path) -> dict[str, str]:
    """Return the secrets of this data folder, made up once and kept in ``secrets.json`` (mode 0600)."""
    path = home / "secrets.json"
    try:
        stored = dict(json.loads(path.read_text())) if path.exists() else {}
    except (OSError, ValueError) as error:
        raise LaunchError(f"{path} cannot be read ({error}); it holds the database's password.") from error
    names = ("secret_key", "superuser_password", "database_password", "web_password", "worker_password",
             "broker_password", "replication_password")  # fmt: skip
    missing = {name: secrets.token_urlsafe(32) for name in names if name not in stored}
    if missing:
        write_private(path, json.dumps(stored | missing, indent=1))
    return stored | missing


@contextmanager
def lock_home(home: Path) -> Iterator[None]:
    """Lock the data folder until this process ends in any way; raise LaunchError if another launcher has locked it."""
    path = make_folder(home) / "lock"
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise LaunchError(f"The folder {home} cannot be used: {error.strerror}.") from error
    try:
        _lock_or_refuse(descriptor, home)
        os.truncate(descriptor, 0)
        os.write(descriptor, str(os.getpid()).encode())
        yield
    finally:
        os.close(descriptor)


def announce_stopping(home: Path) -> None:
    """Mark the lock as about to be released: the next launcher waits instead of refusing."""
    (home / "lock").write_text(f"{os.getpid()} {_STOPPING}")


def _lock_or_refuse(descriptor: int, home: Path) -> None:
    deadline = time.monotonic() + 0.5  # `is_locked` of another process may hold it for an instant
    limit = time.monotonic() + 15
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder, _, state = os.pread(descriptor, 40, 0).decode(errors="replace").partition(" ")
            now = time.monotonic()
            if now > limit or (now > deadline and state != _STOPPING):
                break
            time.sleep(0.05)
        else:
            return
    raise LaunchError(
        f"Leafspan already runs on {home} (process {holder}). Stop it first, or choose another LEAFSPAN_HOME."
    )


def is_locked(home: Path) -> bool:
    """Whether a launcher has locked this data folder now."""
    try:
        with (home / "lock").open() as file:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False
