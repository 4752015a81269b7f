"""One child process of the launcher: starts it in a session of its own, watches it, ends all of it."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from signal import Signals
from typing import IO

from config.dev.home import ROOT, LaunchError, make_folder

ENV_MARK = "LEAFSPAN_CHILD_OF"
"""Environment variable that marks every process of a data folder, so that the next launcher finds what was left."""

_CHILD = Path(__file__).with_name("child.py")
_LOG_LIMIT_BYTES = 5_000_000
_TAIL_LINES = 15
_START_LIMIT_S = 60

Pause = Callable[[float], None]
"""Waits for some seconds; that of the supervisor raises when a stop signal arrives meanwhile."""


class StartError(LaunchError):
    """A program ended before it was ready."""


@dataclass(kw_only=True)
class Child:
    """A program that should run, and the process that runs it now, if any."""

    name: str
    command: list[str]
    env: Mapping[str, str]
    log: Path | None = None
    """Where its output goes; None lets it write to our own."""
    identity: str = "self"
    stop_with: tuple[tuple[Signals, float], ...] = ((signal.SIGTERM, 4.0),)
    """Signals to end it, each with the seconds to wait before the next; SIGKILL comes after the last."""
    death_signal: Signals = signal.SIGTERM
    pass_fds: tuple[int, ...] = ()
    before: Callable[[], None] = field(default=lambda: None)
    """Run before every start."""
    popen: subprocess.Popen[bytes] | None = None
    _log_begins_at: int = 0

    def start(self) -> None:
        """Start the program in a new session; its output is appended to the log."""
        self.before()
        output: IO[bytes] | None = None
        if self.log is not None:
            make_folder(self.log.parent)
            output = self.log.open("ab")
            self._log_begins_at = output.tell()
        try:
            self.popen = subprocess.Popen(
                [*child_command(self.identity, self.death_signal), *self.command],
                cwd=ROOT, env=dict(self.env), stdin=subprocess.DEVNULL, stdout=output,
                stderr=None if output is None else subprocess.STDOUT, start_new_session=True, pass_fds=self.pass_fds,
            )  # fmt: skip
        finally:
            if output is not None:
                output.close()

    @property
    def exit_code(self) -> int | None:
        """Exit status of a process that ended; negative is the signal; None while it runs or before it started."""
        return None if self.popen is None else self.popen.poll()

    def finish(self, pause: Pause) -> int:
        """Wait until the program ends by itself and return its exit status; end it when the wait is broken off."""
        self.start()
        try:
            while (code := self.exit_code) is None:
                pause(0.02)
        except BaseException:
            stop_all([self])
            raise
        return code

    def tail(self) -> str:
        """Return the last lines that this start has written to the log, indented."""
        if self.log is None or not self.log.exists():
            return ""
        with self.log.open("rb") as file:
            file.seek(max(self._log_begins_at, self.log.stat().st_size - 8_000))
            text = file.read().decode(errors="replace")
        return "\n".join(f"    {line}" for line in text.splitlines()[-_TAIL_LINES:])

    def trim_log(self) -> None:
        """Keep the log from filling the disk: past 5 MB it is moved to ``.1`` and begun afresh."""
        if self.log is not None and self.log.exists() and self.log.stat().st_size > _LOG_LIMIT_BYTES:
            self.log.with_suffix(".log.1").write_bytes(self.log.read_bytes())
            self._log_begins_at = 0
            os.truncate(self.log, 0)  # written in append mode, so the child goes on at the new end

    def signal_group(self, number: Signals) -> None:
        """Send a signal to every process of the child's session group that is left."""
        if self.popen is not None:
            try:
                os.killpg(self.popen.pid, number)
            except (ProcessLookupError, PermissionError):  # macOS answers with the second for a group of zombies
                return


def child_command(identity: str, death_signal: Signals) -> list[str]:
    """Return the beginning of a command line that starts a program through child.py."""
    return [sys.executable, "-I", "-S", str(_CHILD), identity, str(int(death_signal)), str(os.getpid())]


def stop_all(children: list[Child], fast: Callable[[], bool] = lambda: False) -> None:
    """End children side by side: their own signals first, SIGKILL for whatever is left of their groups.

    ``fast`` is asked meanwhile; once it is true the waiting before each next signal is cut to half a second.
    """
    pending = [(child, list(child.stop_with), 0.0) for child in children if child.popen is not None]
    while pending:
        still = []
        for child, signals, signal_after in pending:
            next_signal_at = min(signal_after, time.monotonic() + 0.5) if fast() else signal_after
            if child.exit_code is not None:
                child.signal_group(signal.SIGKILL)  # what the main process left behind
            elif time.monotonic() < next_signal_at:
                still.append((child, signals, next_signal_at))
            elif signals:
                number, seconds = signals.pop(0)
                child.popen.send_signal(number) if child.popen else None
                still.append((child, signals, time.monotonic() + seconds))
            else:
                child.signal_group(signal.SIGKILL)
                if child.popen:
                    child.popen.wait()
        pending = still
        if pending:
            time.sleep(0.01)
    for child in children:
        child.popen = None


def start_and_wait(child: Child, *, ready: Callable[[], bool], pause: Pause) -> None:
    """Start a server and wait until it is ready.

    Raise StartError with the end of its log if it ended, LaunchError after a minute; then nothing is left running.
    """
    child.start()
    deadline = time.monotonic() + _START_LIMIT_S
    try:
        while not ready():
            _check_may_become_ready(child, deadline=deadline)
            pause(0.02)
    except BaseException:
        stop_all([child])
        raise


def _check_may_become_ready(child: Child, *, deadline: float) -> None:
    if child.exit_code is not None:
        raise StartError(f"{child.name} ended with status {child.exit_code} at its start.\n{child.tail()}")
    if time.monotonic() > deadline:
        raise LaunchError(f"{child.name} was not ready within {_START_LIMIT_S} s.\n{child.tail()}")


def on_free_port(start: Callable[[int], Child]) -> tuple[Child, int]:
    """Start a server on a free port of 127.0.0.1; twice again if it ended, since another may have taken the port."""
    for _ in range(2):
        port = free_port()
        try:
            return start(port), port
        except StartError:
            continue
    port = free_port()
    return start(port), port


def free_port() -> int:
    """Return a TCP port of 127.0.0.1 that nothing listens on now."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])
