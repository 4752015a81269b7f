"""All of Leafspan on a folder of its own, started through the launcher, whose processes can be found and killed."""

import json
import os
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from signal import Signals
from typing import TypeVar

from config.dev.home import ROOT
from config.dev.leftovers import command_line
from config.dev.process import free_port
from tests.config.launching import clean_environment, eventually, launch
from tests.faults.disk import SmallDisk, on_a_small_disk

PASSWORD = "poured nine times"
KINDS = {
    "web worker": ("gunicorn", "gunicorn"),
    "job worker": ("-A config worker", "celery"),  # both name themselves as they run
    "broker": ("", "valkey-server"),
    "database": ("", "bin/postgres"),
}
"""What the command lines of a process's parent and of itself hold; the first two are children of a main process."""

_Place = TypeVar("_Place", bound="Installation")


class Installation:
    """A running launcher."""

    command = "run"
    disk: SmallDisk | None = None
    """For the photos; None where this machine cannot mount one."""

    def __init__(self, home: Path, *, port: int | None = None) -> None:
        self.home, self.port = home, port or free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.launcher = self._launch()

    def _launch(self) -> "subprocess.Popen[str]":
        photos = self.home / "photos"
        under = on_a_small_disk(photos)
        launcher = self._launch_under(under)
        self.disk = SmallDisk(photos, pid=launcher.pid) if under else None
        return launcher

    def _launch_under(self, under: list[str], **more: str) -> "subprocess.Popen[str]":
        return launch(
            "-m", "config.dev", self.command, home=self.home, log=self.home / "launcher.log", under=under,
            PORT=str(self.port), DEMO="0", **more,
        )  # fmt: skip

    def ready(self) -> bool:
        """Whether requests are served and a worker answers."""
        return is_ready(self.url)

    def manage(self, *arguments: str) -> dict[str, str]:
        """Run a command beside the launcher; return the JSON line that it prints."""
        return dict(json.loads(self.run(*arguments).splitlines()[-1]))

    def run(self, *arguments: str) -> str:
        """Run a command beside the launcher; return what it prints."""
        done = subprocess.run(
            [sys.executable, str(ROOT / "manage.py"), *arguments],
            env=self.environment(),
            capture_output=True, text=True, check=True, cwd=ROOT,
        )  # fmt: skip
        return done.stdout

    def environment(self, **more: str) -> dict[str, str]:
        """Return the environment of a command beside the launcher."""
        return clean_environment(self.home, LEAFSPAN_PASSWORD=PASSWORD, **more)

    def processes(self, kind: str) -> list[int]:
        """Return the ids of the processes of a kind that run now."""
        of_parent, own = KINDS[kind]
        return [
            pid
            for pid, parent in self.family()
            if own in command_line(pid) and (not of_parent or of_parent in command_line(parent))
            and (bool(of_parent) or parent == self.launcher.pid)
        ]  # fmt: skip

    def family(self) -> list[tuple[int, int]]:
        """Return every descendant of the launcher with its parent."""
        parents: dict[int, int] = {}
        for folder in Path("/proc").iterdir():
            if folder.name.isdigit():
                try:
                    parents[int(folder.name)] = int((folder / "stat").read_text().rpartition(")")[2].split()[1])
                except OSError:  # it ended
                    continue
        found, known = [], {self.launcher.pid}
        while grown := [(p, parent) for p, parent in parents.items() if parent in known and p not in known]:
            found += grown
            known |= {pid for pid, _ in grown}
        return found

    def kill(self, pid: int) -> bool:
        """Kill a process outright; False if it was gone already."""
        try:
            os.kill(pid, signal.SIGKILL)
        except ProcessLookupError:
            return False
        return True

    def count_in_log(self, text: str, *, log: str) -> int:
        """Return how often a log has this text."""
        logs = [self.home / "logs" / log, self.home / "logs" / f"{log}.1"]
        return sum(path.read_text(errors="replace").count(text) for path in logs if path.exists())


def is_ready(url: str) -> bool:
    """Whether the web server at an address serves requests and a worker answers."""
    try:
        with urllib.request.urlopen(f"{url}/health/ready", timeout=5) as answer:  # noqa: S310 - our own
            return bool(answer.status == 200)
    except OSError:
        return False


def is_working(pid: int) -> bool:
    """Whether a process is on a processor or waits for one at this instant."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "R"
    except OSError:
        return False


@contextmanager
def installation(home: Path) -> Iterator[Installation]:
    """Start everything, wait until it is ready, and stop it in the end."""
    with started(Installation(home)) as made:
        yield made


@contextmanager
def started(made: _Place) -> Iterator[_Place]:
    """Wait until a launcher is ready, and stop it in the end."""
    try:
        ended = made.launcher.poll
        # asked once: right after the start another web process may not have seen a worker yet
        if not eventually(lambda: made.ready() or ended() is not None, seconds=120) or ended() is not None:
            raise SystemExit(f"Leafspan did not start; see {made.home / 'launcher.log'}")
        yield made
    finally:
        made.launcher.send_signal(Signals.SIGTERM)
        try:
            made.launcher.wait(timeout=60)
        except subprocess.TimeoutExpired:
            made.launcher.kill()
