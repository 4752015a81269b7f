"""Processes that outlived their launcher: finds them by the mark in their environment and ends them."""

import os
import signal
import subprocess
import time
from pathlib import Path

from config.dev.process import ENV_MARK


def find_leftovers(home: Path) -> list[int]:
    """Return the ids of our user's processes that were started for this data folder, ourselves not among them."""
    mark = f"{ENV_MARK}={home}"
    proc = Path("/proc")
    if not (proc / "self").exists():  # macOS: ps shows the environment behind the command line
        shown = subprocess.run(
            ["ps", "-axEww", "-o", "pid=,command="], capture_output=True, text=True, check=False
        ).stdout
        return [
            int(line.split()[0])
            for line in shown.splitlines()
            if f"{mark} " in f"{line} " and int(line.split()[0]) != os.getpid()
        ]
    pids = []
    for folder in proc.iterdir():
        if folder.name.isdigit() and int(folder.name) != os.getpid():
            try:
                environment = (folder / "environ").read_bytes().split(b"\0")
            except OSError:  # another user's, or gone
                continue
            if mark.encode() in environment:
                pids.append(int(folder.name))
    return pids


def stop_leftovers(home: Path) -> None:
    """End what an earlier launcher, killed itself, left running on this data folder."""
    for number, seconds in ((signal.SIGTERM, 4.0), (signal.SIGKILL, 2.0)):
        deadline = time.monotonic() + seconds
        left = find_leftovers(home)
        for pid in left:
            try:
                os.kill(pid, number)
            except ProcessLookupError:
                continue
        while left and time.monotonic() < deadline:
            time.sleep(0.05)
            left = find_leftovers(home)
        if not left:
            return


def command_line(pid: int) -> str:
    """Return the command line of a process, empty if there is none (or a zombie)."""
    proc = Path("/proc")
    if (proc / "self").exists():
        try:
            return (proc / str(pid) / "cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
        except OSError:
            return ""
    shown = subprocess.run(["ps", "-ww", "-o", "command=", "-p", str(pid)], capture_output=True, text=True, check=False)
    return shown.stdout.strip()
