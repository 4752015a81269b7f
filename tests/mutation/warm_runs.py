"""A plug-in of pytest: one process collects the tests and makes the database; a fork of it judges each change.

So a change costs a fork and the tests up to the first that notices it. Tests that noticed other changes of the same
function come first, then quick ones.
"""

import json
import os
import signal
import sys
import time
from collections import defaultdict
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import cast

import pytest
from _pytest.runner import runtestprotocol
from django.core.management import call_command
from django.db import connections
from mutmut.mutation.trampoline import set_mutant_under_test
from mutmut.state import state
from pytest_django.plugin import blocking_manager_key

CHANGES, RESULTS = Path("changes.json"), Path("outcomes.txt")
"""In the folder of the run: what each change does, by its name; the outcomes, one a line."""
_CPU_RESERVE_S = 10
"""How much more processor time than ten times its usual time a test may take: it depends little on other programs."""
_LONGEST_S = 300
"""For a test that waits."""


class _Judge:
    def __init__(self, session: pytest.Session) -> None:
        self._session, self._items = session, session.items
        self._blocker = session.config.stash[blocking_manager_key]
        self._seconds: dict[str, float] = {}
        self._reached: defaultdict[str, set[str]] = defaultdict(set)
        """The tests that reach a function."""
        self._noticed: defaultdict[tuple[str, str], int] = defaultdict(int)
        """How many changes of a function a test has noticed."""

    def rehearse(self) -> None:
        """Run each test on the unchanged code; note its time and what it reaches."""
        set_mutant_under_test("stats")
        for item, following in _with_following(self._items, self._session):
            begun = time.monotonic()
            if _failures(item, following):
                pytest.exit(f"{item.nodeid} fails on the unchanged code", returncode=1)
            self._seconds[item.nodeid] = time.monotonic() - begun
            for function in state()._stats:
                self._reached[function].add(item.nodeid)
            state()._stats.clear()
        connections.close_all()

    def judge(self, change: str) -> tuple[str, str]:
        """Run the tests that reach the changed function, until one fails, in a process of their own.

        Return the outcome and the last test, with its error.
        """
        function = change.partition("__mutmut_")[0]
        reached = self._reached[function] or set(self._seconds)  # reached by none: perhaps before the first test
        items = [item for item in self._items if item.nodeid in reached]
        items.sort(key=lambda item: -(1 + self._noticed[function, item.nodeid]) / (0.02 + self._seconds[item.nodeid]))
        reader, writer = os.pipe()
        child = os.fork()
        if not child:
            self._run(change, items, writer)
        os.close(writer)
        with os.fdopen(reader) as pipe:
            lines = pipe.read().splitlines()  # ends when the child does
        _, status = os.waitpid(child, 0)
        if os.WIFSIGNALED(status) and os.WTERMSIG(status) in (signal.SIGPROF, signal.SIGALRM):
            outcome = "time-out"
            if any("django_db_setup" in getattr(item, "fixturenames", ()) for item in items):
                self._empty_tables()
        else:
            outcome = "not noticed" if os.waitstatus_to_exitcode(status) == 0 else "noticed"
        if outcome == "not noticed" or not lines:
            return outcome, ""
        self._noticed[function, lines[-1].partition(": ")[0]] += 1
        return outcome, lines[-1]

    def _run(self, change: str, items: list[pytest.Item], writer: int) -> None:
        """Run the tests in the child; name each as it begins."""
        _forget_stored_values(change)
        set_mutant_under_test(change)
        for item, following in _with_following(items, self._session):
            os.write(writer, f"{item.nodeid}\n".encode())
            signal.setitimer(signal.ITIMER_PROF, _CPU_RESERVE_S + 10 * self._seconds[item.nodeid])
            signal.alarm(_LONGEST_S)
            if failures := _failures(item, following):
                os.write(writer, f"{item.nodeid}: {failures[0]}\n".encode())
                os._exit(1)
        os._exit(0)

    def _empty_tables(self) -> None:
        """Delete what a test that was ended may have committed."""
        with self._blocker.unblock():
            call_command("flush", verbosity=0, interactive=False, inhibit_post_migrate=True)
            connections.close_all()


def _with_following(items: Sequence[pytest.Item], session: pytest.Session) -> Iterable[tuple[pytest.Item, pytest.Item]]:
    """Pair each test with the next one, the last with the session: what is made once for all tests is left standing."""
    return zip(items, [*items[1:], cast("pytest.Item", session)], strict=True)


def _failures(item: pytest.Item, following: pytest.Item) -> list[str]:
    """Run a test; return the last line of each error."""
    reports = runtestprotocol(item, log=False, nextitem=following)
    return [report.longreprtext.splitlines()[-1] for report in reports if report.failed]


def _forget_stored_values(change: str) -> None:
    """Forget what functions of the changed module stored, and a connection that it made."""
    for value in vars(sys.modules[change.rpartition(".")[0]]).values():
        if hasattr(value, "cache_clear"):
            value.cache_clear()
    if "DatabaseWrapper" in change:
        del connections["default"]


@pytest.hookimpl(tryfirst=True)
def pytest_runtestloop(session: pytest.Session) -> bool:
    """Judge all changes instead of running the tests once."""
    judge = _Judge(session)
    judge.rehearse()
    changes = json.loads(CHANGES.read_text())
    outcome, test = judge.judge(f"{next(iter(changes)).rpartition('.')[0]}.unchanged")
    if outcome != "not noticed":
        pytest.exit(f"on the unchanged code, in another order, {outcome}: {test}", returncode=1)
    outcomes = []
    for number, (change, diff) in enumerate(changes.items(), 1):
        begun = time.monotonic()
        outcome, test = judge.judge(change)
        outcomes.append(outcome)
        line = f"{number}/{len(changes)} {outcome}: {change} {time.monotonic() - begun:.1f} s {test}\n"
        os.write(2, (line if outcome == "noticed" else f"{line}{diff}\n").encode())  # past pytest's capture
    RESULTS.write_text("\n".join(outcomes))
    return True
