"""Starting launchers from tests: a clean environment, a process of its own, and a look at what is left."""

import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from config.dev.home import ROOT
from config.dev.leftovers import command_line, find_leftovers

GIVEN = (
    "DATABASE_URL",
    "DATABASE_REPLICA_URL",
    "REDIS_URL",
    "LEAFSPAN_SECRET_KEY",
    "PORT",
    "MAKELEVEL",
    "LEAFSPAN_CHILD_OF",
)

SERVERS_ONLY = """
import sys, time
from pathlib import Path
from config.dev import home, services
folder = Path(sys.argv[1])
with home.lock_home(folder):
    children, found = services.start_servers(folder, environ={}, durable=True)
    print(*(child.popen.pid for child in children), flush=True)
    time.sleep(600)
"""


def clean_environment(home: Path, **more: str) -> dict[str, str]:
    """The environment without what our own test run was given."""
    return (
        {name: value for name, value in os.environ.items() if name not in GIVEN} | {"LEAFSPAN_HOME": str(home)} | more
    )


def launch(
    *arguments: str, home: Path, log: Path | None = None, under: Sequence[str] = (), **more: str
) -> "subprocess.Popen[str]":
    """Start Python on some arguments, under another command if given, in a session of its own.

    Output goes to a file or a pipe.
    """
    output = None if log is None else log.open("ab")
    try:
        return subprocess.Popen(
            [*under, sys.executable, *arguments],
            cwd=ROOT,
            env=clean_environment(home, **more),
            stdin=subprocess.DEVNULL,
            stdout=output or subprocess.PIPE,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            text=True,
        )
    finally:
        if output is not None:
            output.close()


def eventually(true: Callable[[], bool], seconds: float = 300) -> bool:
    """Wait until something is true; False when it does not come true within a generous limit."""
    deadline = time.monotonic() + seconds
    while not true():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.05)
    return True


def alive(pid: int) -> bool:
    """Whether a process runs; a zombie, whose command line is empty, does not."""
    return command_line(pid) != ""


def everything_of(home: Path) -> list[str]:
    """Command lines of all processes of a data folder: those marked, and PostgreSQL's, which hides its mark."""
    pids = find_leftovers(home)
    pid_file = home / "postgres/postmaster.pid"
    if pid_file.exists():
        pids.append(int(pid_file.read_text().splitlines()[0]))
    return [line for pid in pids if (line := command_line(pid))]
