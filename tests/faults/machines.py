"""Installations of more than one process each that are killed by name: a cell, and a cluster of two machines."""

import json
import socket
import subprocess
import urllib.request
from collections import Counter
from contextlib import suppress
from pathlib import Path
from typing import Any

import psycopg

from config.dev.cluster import MACHINES
from config.dev.leftovers import command_line
from tests.faults.installation import Installation, is_ready


class Cell(Installation):
    """An installation beside another, with more in its environment; its photos are where a command sees them."""

    def __init__(self, home: Path, *, port: int | None = None, **more: str) -> None:
        self._more = more
        super().__init__(home, port=port)

    def _launch(self) -> "subprocess.Popen[str]":
        return self._launch_under([], **self._more)

    def environment(self, **more: str) -> dict[str, str]:
        """Return the environment of a command beside the launcher."""
        return super().environment(**self._more, **more)

    def way_in(self) -> dict[str, str]:
        """Return the environment by which a command in another cell reaches database and photos of this one."""
        return {"LEAFSPAN_TO_DATABASE_URL": self._note("database_url"), "LEAFSPAN_TO_PHOTOS": str(self.home / "photos")}

    def has(self, team: str) -> bool:
        """Whether a team lives here."""
        with psycopg.connect(self._note("database_url")) as session:
            found = session.execute(
                "SELECT EXISTS (SELECT FROM teams_team WHERE id = %s)"
                " AND NOT EXISTS (SELECT FROM teams_movedteam WHERE team_id = %s)",
                [team, team],
            ).fetchone()
        return bool(found and found[0])

    def _note(self, name: str) -> Any:
        return json.loads((self.home / "services.json").read_text())[name]


class Cluster(Cell):
    """A running `config.dev.cluster`."""

    command = "cluster"

    def __init__(self, home: Path, *, port: int | None = None, **more: str) -> None:
        super().__init__(home, port=port or two_free_ports(), **more)
        self.urls = (self.url, f"http://127.0.0.1:{self.port + 1}")

    def way_in(self) -> dict[str, str]:
        """Return the same with the bucket of the object store."""
        beside = dict(self._note("beside"))
        beside["LEAFSPAN_TO_PHOTOS"] = beside.pop(
            "LEAFSPAN_PHOTO_BUCKET"
        )  # the bucket of the cell it runs in is its own
        return super().way_in() | beside

    def ready(self) -> bool:
        """Whether both web servers serve requests and a worker answers."""
        return all(map(is_ready, self.urls))

    def kill_all_of(self, name: str) -> int:
        """Kill all processes of a machine's web server or worker, or the replica; return how many."""
        kind, _, number = name.partition(" ")
        home = self.home / (MACHINES[int(number) - 1] if number else "replica")
        mark = f"LEAFSPAN_HOME={home}".encode()
        program = {"web": "gunicorn", "worker": "celery", "replica": f"{home}/postgres"}[kind]
        pids = [
            pid
            for pid, _ in self.family()
            if program in (line := command_line(pid)) and " beat" not in line
            and (kind == "replica" or mark in _environment(pid))
        ]  # fmt: skip
        return sum(self.kill(pid) for pid in pids)

    def replica_reads(self) -> Counter[str]:
        """Return how many reads that a replica may answer each server answered, since the web servers started."""
        found: Counter[str] = Counter()
        for url in self.urls:
            with suppress(OSError), urllib.request.urlopen(f"{url}/metrics", timeout=10) as answer:  # noqa: S310
                for line in answer.read().decode().splitlines():
                    if line.startswith("leafspan_replica_reads_total"):
                        found[line.split('"')[1]] += int(float(line.split()[-1]))
        return found


def two_free_ports() -> int:
    """Return a port that is free like the one after it."""
    while True:
        with socket.socket() as first, socket.socket() as second, suppress(OSError):
            first.bind(("127.0.0.1", 0))
            port = int(first.getsockname()[1])
            second.bind(("127.0.0.1", port + 1))
            return port


def _environment(pid: int) -> list[bytes]:
    try:
        return Path(f"/proc/{pid}/environ").read_bytes().split(b"\0")
    except OSError:
        return []
