"""A plug-in of pytest: one process collects the tests and makes the database; forks of it judge the changes.

A change costs the tests up to the first that notices it. Only tests that run the changed line are asked; those come
first that noticed other changes of the same function, that run lines of it which few tests run, or are quick. A fork
judges one change after the other. The test that noticed a change must pass on the unchanged code right after it, else
the change is judged again in a fork of its own.
"""

import gc
import json
import os
import signal
import sys
import threading
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import accumulate
from pathlib import Path
from types import FrameType
from typing import Any, NamedTuple, cast

import pytest
from _pytest.runner import runtestprotocol
from django.core.management import call_command
from django.db import connections
from mutmut.mutation.trampoline import set_mutant_under_test
from mutmut.state import state
from pytest_django.plugin import blocking_manager_key

CHANGES, RESULTS = Path("changes.json"), Path("outcomes.txt")
"""In the folder of the run: the changes (`Change`) by name; the outcomes, one a line."""
_CPU_RESERVE_S = 1
"""How much more processor time than five times its usual time a test may take: it depends little on other programs."""
_LONGEST_S = 120
"""For a test that waits."""


class Change(NamedTuple):
    """What a change does, and where: the file with all changes, and in it the lines of the unchanged function.

    ``line`` is the changed one. Its tests may take so much processor time together; None: all that run it are asked.
    """

    diff: str
    path: str
    first_line: int
    last_line: int
    line: int
    longest_s: float | None


class _Judge:
    def __init__(self, session: pytest.Session) -> None:
        self._session, self._items = session, session.items
        self._blocker = session.config.stash[blocking_manager_key]
        self._seconds: dict[str, float] = {}
        """Of processor time that each test takes."""
        self._reached: defaultdict[str, set[str]] = defaultdict(set)
        """The tests that reach a function."""
        self._lines: defaultdict[str, dict[int, set[str]]] = defaultdict(dict)
        """By file and line, the tests that run the line."""
        self._noticed: defaultdict[tuple[str, str], int] = defaultdict(int)
        """How many changes of a function a test has noticed."""

    def rehearse(self, paths: set[str]) -> None:
        """Run each test on the unchanged code; note its time, and what it reaches in the changed files."""
        set_mutant_under_test("stats")
        for item, following in _with_following(self._items, self._session):
            lines: set[tuple[str, int]] = set()
            begun = time.process_time()
            with _traced(paths, lines):
                failures = _failures(item, following)
            if failures:
                pytest.exit(f"{item.nodeid} fails on the unchanged code: {failures[0]}", returncode=1)
            self._seconds[item.nodeid] = time.process_time() - begun
            for function in state()._stats:
                self._reached[function].add(item.nodeid)
            state()._stats.clear()
            for path, line in lines:
                self._lines[path].setdefault(line, set()).add(item.nodeid)
        connections.close_all()
        gc.collect()
        gc.freeze()  # a fork copies no memory because of the collector

    def judge(self, changes: Mapping[str, Change]) -> Iterator[tuple[str, str, str]]:
        """Judge each change in a fork of this process; yield its name, the outcome and the last test with its error.

        A fork judges one change after the other until one of them leaves something behind.
        """
        names, begin = list(changes), 0
        while begin < len(names):
            reader, writer = os.pipe()
            child = os.fork()
            if not child:
                os.close(reader)
                try:
                    self._judge_in_turn({name: changes[name] for name in names[begin:]}, writer)
                finally:
                    os._exit(1)  # a fork must not end the session of its parent
            os.close(writer)
            fresh, test = True, ""
            with os.fdopen(reader) as pipe:
                for line in pipe:
                    outcome, test = json.loads(line)
                    if outcome == "begins":
                        continue
                    self._count(names[begin], outcome, test)
                    yield names[begin], outcome, test
                    begin, fresh = begin + 1, False
            _, status = os.waitpid(child, 0)
            if os.WIFSIGNALED(status):
                self._empty_tables()
            if status and fresh:  # else it is judged again, in a fork of its own
                outcome = "time-out" if os.WIFSIGNALED(status) else "noticed"
                if outcome == "noticed" and not self._passes(test):
                    pytest.exit(f"{test} fails on the unchanged code", returncode=1)
                self._count(names[begin], outcome, test)
                yield names[begin], outcome, test
                begin += 1

    def _judge_in_turn(self, changes: Mapping[str, Change], writer: int) -> None:
        """Write one line for each test that begins and one for each outcome; end the process."""
        for name, change in changes.items():
            outcome, last = "not noticed", ""
            _choose(name)
            for item, following in _with_following(self._tests_for(name, change), self._session):
                os.write(writer, _line("begins", item.nodeid))
                if failures := self._failures_in_time(item, following):
                    _choose(f"{name.partition('__mutmut_')[0]}__unchanged")
                    if self._failures_in_time(item, cast("pytest.Item", self._session)):
                        os._exit(1)  # something is left of this change, or of one before it
                    outcome, last = "noticed", f"{item.nodeid}: {failures[0]}"
                    break
            self._count(name, outcome, last)
            os.write(writer, _line(outcome, last))
        os._exit(0)

    def _failures_in_time(self, item: pytest.Item, following: pytest.Item) -> list[str]:
        """Run a test; the process ends if it takes much longer than usual."""
        signal.setitimer(signal.ITIMER_PROF, _CPU_RESERVE_S + 5 * self._seconds[item.nodeid])
        signal.alarm(_LONGEST_S)
        return _failures(item, following)

    def _passes(self, test: str) -> bool:
        """Whether a test passes on the unchanged code in a process of its own."""
        child = os.fork()
        if not child:
            set_mutant_under_test(".unchanged")
            item = next(item for item in self._items if item.nodeid == test)
            os._exit(bool(_failures(item, cast("pytest.Item", self._session))))
        return os.waitpid(child, 0)[1] == 0

    def _count(self, name: str, outcome: str, test: str) -> None:
        if outcome != "not noticed":
            self._noticed[name.partition("__mutmut_")[0], test.partition(": ")[0]] += 1

    def _tests_for(self, name: str, change: Change) -> Sequence[pytest.Item]:
        """Return the tests that run the changed line, the most promising first."""
        function = name.partition("__mutmut_")[0]
        reached = self._reached[function] or set(self._seconds)  # reached by none: perhaps before the first test
        if run := self._tests_of_line(change):
            reached = reached & run or reached
        rarity = self._rarity_of_lines(change)

        def order(item: pytest.Item) -> float:
            promise = self._noticed[function, item.nodeid] + rarity.get(item.nodeid, 0) + 0.01
            return -promise / (0.02 + self._seconds[item.nodeid])

        items = sorted((item for item in self._items if item.nodeid in reached), key=order)
        sums_s = accumulate(self._seconds[item.nodeid] for item in items)
        longest_s = float("inf") if change.longest_s is None else change.longest_s
        return [item for item, sum_s in zip(items, sums_s, strict=True) if sum_s <= longest_s]

    def _tests_of_line(self, change: Change) -> set[str]:
        """Return the tests that run the changed line, or the line before it on which its statement begins."""
        lines = self._lines[change.path]
        before = [line for line in lines if change.first_line <= line <= change.line]
        return lines[max(before)] if before else set()

    def _rarity_of_lines(self, change: Change) -> Mapping[str, float]:
        """Return for each test how many lines of the function it runs, lines that few tests run counting more."""
        rarity: defaultdict[str, float] = defaultdict(float)
        for line, tests in self._lines[change.path].items():
            if change.first_line <= line <= change.last_line:
                for test in tests:
                    rarity[test] += 1 / len(tests)
        return rarity

    def _empty_tables(self) -> None:
        """Delete what a test that was ended may have committed."""
        if not any("django_db_setup" in getattr(item, "fixturenames", ()) for item in self._items):
            return
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


@contextmanager
def _traced(paths: set[str], lines: set[tuple[str, int]]) -> Iterator[None]:
    """Note which lines of the files are run."""

    def note(frame: FrameType, event: str, _argument: object) -> Any:
        if event == "line":
            lines.add((frame.f_code.co_filename, frame.f_lineno))
        return note

    def begin(frame: FrameType, _event: str, _argument: object) -> Any:
        return note if frame.f_code.co_filename in paths else None

    threading.settrace(begin)
    sys.settrace(begin)
    try:
        yield
    finally:
        sys.settrace(None)
        threading.settrace(None)


def _line(outcome: str, test: str) -> bytes:
    return f"{json.dumps([outcome, test])}\n".encode()


def _choose(change: str) -> None:
    """Make a change; forget what functions of its module stored, and a connection that it made."""
    for value in vars(sys.modules[change.rpartition(".")[0]]).values():
        if hasattr(value, "cache_clear"):
            value.cache_clear()
    if "DatabaseWrapper" in change:
        connections.close_all()
        if connections.all(initialized_only=True):
            del connections["default"]
    set_mutant_under_test(change)


@pytest.hookimpl(tryfirst=True)
def pytest_runtestloop(session: pytest.Session) -> bool:
    """Judge all changes instead of running the tests once."""
    judge = _Judge(session)
    changes = {name: Change(*change) for name, change in json.loads(CHANGES.read_text()).items()}
    judge.rehearse({change.path for change in changes.values()})
    outcomes, begun = [], time.monotonic()
    for number, (name, outcome, test) in enumerate(judge.judge(changes), 1):
        outcomes.append(outcome)
        line = f"{number}/{len(changes)} {outcome}: {name} {time.monotonic() - begun:.1f} s {test}\n"
        begun = time.monotonic()
        text = line if outcome == "noticed" else f"{line}{changes[name].diff}\n"
        os.write(2, text.encode())  # past pytest's capture
    RESULTS.write_text("\n".join(outcomes))
    return True
