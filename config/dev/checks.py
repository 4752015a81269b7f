"""All checks, as ``make test`` runs them: the tests on all cores, and beside them lint, types and import contracts."""

import os
import sys
import tempfile
import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from config.dev.process import Child, Pause, stop_all
from config.dev.signals import StopFlag, Stopped

_LINT_IMPORTS = "from importlinter.cli import lint_imports_command as command; command()"
STATIC = {"lint": ["-m", "ruff", "check", "."], "types": ["-m", "mypy", "."], "import contracts": ["-c", _LINT_IMPORTS]}
# A test that waits for ever fails by name after ten minutes, with the stacks of its process.
_LIMIT = ["-o", "faulthandler_timeout=600", "-o", "faulthandler_exit_on_timeout=true"]
TESTS = ["-m", "pytest", "-q", "--dist", "worksteal", *_LIMIT]
_LOWEST_PRIORITY = 19  # POSIX's highest nice value
COLLECT = ["-m", "pytest", "-q", "--collect-only"]


def check() -> int:
    """Run every check, also those after a failed one; return 0 if all passed."""
    flag = StopFlag()
    # One thread of linear algebra per process: the processes fill the cores.
    env = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", **os.environ, "PYTHONUNBUFFERED": "1"}
    try:
        with tempfile.TemporaryDirectory(prefix="leafspan-checks-") as folder:
            failed = _run_checks(env, logs=Path(folder), pause=flag.pause)
    except Stopped:
        print("stopped", file=sys.stderr)
        return 130
    print(f"failed: {', '.join(failed)}" if failed else "all checks passed")
    return 1 if failed else 0


def _run_checks(env: Mapping[str, str], *, logs: Path, pause: Pause) -> list[str]:
    """Run the tests and, one after the other beside them, the static checks; return the names of what failed."""
    print("== tests, and static checks beside them", flush=True)
    began = time.monotonic()
    tests = Child(name="tests", command=[sys.executable, *TESTS, "-n", str(_workers(env))], env=env)
    logged = [
        Child(name=name, command=[sys.executable, *arguments], env=env, log=logs / f"{name}.log")
        for name, arguments in {"collection": COLLECT, **STATIC}.items()
    ]
    collection, *static = logged
    failed = _run_side_by_side([[tests] if _is_collected_before() else [collection, tests], static], pause)
    for name in STATIC:
        print(f"== {name}")
        print((logs / f"{name}.log").read_text(errors="replace"), end="")
    print(f"   {time.monotonic() - began:.1f} s in all", flush=True)
    return failed


def _is_collected_before() -> bool:
    """Return whether pytest has compiled tests here; else each of its processes would compile all of them."""
    return any(Path("tests").rglob("*-pytest-*.pyc"))


def _run_side_by_side(queues: list[list[Child]], pause: Pause) -> list[str]:
    """Run the programs of each queue one after the other, the queues at the same time; return the names that failed."""
    failed = []
    try:
        while any(queues):
            for queue in filter(None, queues):
                child = queue[0]
                if child.popen is None:
                    child.start()
                    if child.name in STATIC:
                        _lower_priority(child)
                elif child.exit_code is not None:
                    queue.pop(0)
                    failed += [child.name] if child.exit_code != 0 else []
            pause(0.05)
    except BaseException:
        stop_all([child for queue in queues for child in queue])
        raise
    return failed


def _lower_priority(child: Child) -> None:
    """Give a program only the processor time that the tests leave while they wait."""
    if child.popen is not None:
        with suppress(OSError):  # it may have ended
            os.setpriority(os.PRIO_PROCESS, child.popen.pid, _LOWEST_PRIORITY)
            # where Linux shares time out among sessions before processes: sched(7), autogroup
            Path(f"/proc/{child.popen.pid}/autogroup").write_text(str(_LOWEST_PRIORITY))


def _workers(env: Mapping[str, str]) -> int:
    """Return how many processes run tests: none beside pytest itself where the servers are not ours to share out.

    One for each core, two at least; one more took a sixth more processor time.
    """
    if env.get("DATABASE_URL") or env.get("REDIS_URL"):
        return 0
    return max(2, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else 2)
