"""The embedded servers together: starts them, notes their addresses for other processes; throw-away ones for tests."""

import json
import os
import shutil
import socket
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from config.dev.broker import start_broker
from config.dev.home import is_locked, load_secrets, lock_home, make_folder, write_private
from config.dev.leftovers import stop_leftovers
from config.dev.postgres import DatabaseUrls, start_postgres
from config.dev.process import ENV_MARK, Child, Pause, stop_all


@dataclass(frozen=True, kw_only=True)
class Running:
    """Where the database and the broker are, the key that signs browser sessions, and the data folder."""

    database_url: str
    """For the owner of the tables."""
    web_database_url: str
    worker_database_url: str
    redis_url: str
    secret_key: str
    home: Path
    beside: Mapping[str, str] = field(default_factory=dict)
    """Environment variables that lead to what runs beside them, as to an object store."""

    def addresses(self) -> dict[str, str]:
        """Return the environment variables that say where they are."""
        servers = {"DATABASE_URL": self.database_url, "REDIS_URL": self.redis_url}
        return {**servers, "LEAFSPAN_SECRET_KEY": self.secret_key, **self.beside}

    def environment(self) -> dict[str, str]:
        """Return the environment for a process that is to use them and works on the whole installation."""
        ours = {"LEAFSPAN_HOME": str(self.home), "PYTHONUNBUFFERED": "1", ENV_MARK: str(self.home)}
        # Where setproctitle is installed, Celery and Gunicorn would write their titles over the mark.
        return {**os.environ, **self.addresses(), **ours, "SPT_NOENV": "1"}

    def web_environment(self) -> dict[str, str]:
        """Return the environment of the web server, whose login owns nothing."""
        return self.environment() | {"DATABASE_URL": self.web_database_url}

    def worker_environment(self) -> dict[str, str]:
        """Return the environment of the worker and the timetable, whose login owns nothing."""
        return self.environment() | {"DATABASE_URL": self.worker_database_url}


_NOTED = ("database_url", "web_database_url", "worker_database_url", "redis_url", "secret_key")


def running(home: Path) -> Running | None:
    """Return the servers that a launcher runs on this data folder now, or None.

    Its note counts only while it has locked the folder and its servers can be reached; a server that is being
    restarted gets three seconds.
    """
    try:
        note = json.loads((home / "services.json").read_text())
        servers = Running(**{name: note[name] for name in _NOTED}, home=home, beside=dict(note.get("beside") or {}))
        ports = [int(port) for port in note["embedded_ports"]]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    deadline = time.monotonic() + 3
    while is_locked(home):
        if all(_reachable(port) for port in ports):
            return servers
        if time.monotonic() > deadline:
            break
        time.sleep(0.1)
    return None


def start_servers(
    home: Path, *, environ: Mapping[str, str], durable: bool, pause: Pause = time.sleep
) -> tuple[list[Child], Running]:
    """Start the servers that the environment does not name, on a data folder that the caller has locked.

    Return the processes in the order of their start, and the addresses. Raise LaunchError, with none left running, if
    one did not start.
    """
    stop_leftovers(make_folder(home))
    secrets = load_secrets(home)
    children: list[Child] = []
    database_url, redis_url = environ.get("DATABASE_URL"), environ.get("REDIS_URL")
    embedded: list[str] = []
    try:
        if database_url:
            database = DatabaseUrls(owner=database_url, web=database_url, worker=database_url)
        else:
            postgres, database = start_postgres(home, secrets=secrets, durable=durable, pause=pause)
            children.append(postgres)
            embedded.append(database.owner)
        if not redis_url:
            broker, redis_url = start_broker(home, password=secrets["broker_password"], durable=durable, pause=pause)
            children.append(broker)
            embedded.append(redis_url)
        servers = Running(
            home=home,
            database_url=database.owner,
            web_database_url=database.web,
            worker_database_url=database.worker,
            redis_url=redis_url,
            secret_key=environ.get("LEAFSPAN_SECRET_KEY") or secrets["secret_key"],
        )
        note = {
            **{name: getattr(servers, name) for name in _NOTED},
            "embedded_ports": [urlsplit(url).port for url in embedded],
        }
        _write_note(home, note)
    except BaseException:
        stop_all(children)
        raise
    return children, servers


def note_beside(home: Path, environment: Mapping[str, str]) -> None:
    """Have commands on this data folder find what else runs, by these environment variables."""
    _write_note(home, {**json.loads((home / "services.json").read_text()), "beside": dict(environment)})


def _write_note(home: Path, note: Mapping[str, object]) -> None:
    write_private(home / "services.json", json.dumps(note, indent=1))


def stop_servers(home: Path, children: list[Child], fast: Callable[[], bool] = lambda: False) -> None:
    """Delete the note and stop the servers, the last started first; ``fast`` as in `process.stop_all`."""
    (home / "services.json").unlink(missing_ok=True)
    for child in reversed(children):
        stop_all([child], fast)


@contextmanager
def test_servers() -> Iterator[Running]:
    """Run throw-away servers in a temporary folder, without waiting for the disk; yield their addresses.

    ``DATABASE_URL`` and ``REDIS_URL`` in the environment are used instead where given.
    """
    home = Path(tempfile.mkdtemp(prefix="leafspan-test-"))
    try:
        with lock_home(home):
            children, servers = start_servers(home, environ=os.environ, durable=False)
            try:
                yield servers
            finally:
                stop_servers(home, children)
    finally:
        shutil.rmtree(home, ignore_errors=True)


def _reachable(port: int) -> bool:
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=1):
            return True
    except OSError:
        return False
