"""All checks, as ``make test`` runs them: lint, types, import contracts, missing migrations, tests.

The tests run in two halves at the same time, since a gate of one process leaves the second core idle: what computes or
starts installations of its own, and what asks the servers. With a database from outside, of which there is one, they
run one after the other.
"""

import os
import sys
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path

from config.dev.home import ROOT, LaunchError
from config.dev.process import Child, Pause, end
from config.dev.services import test_servers
from config.dev.signals import StopFlag, Stopped

_LINT_IMPORTS = "from importlinter.cli import lint_imports_command as command; command()"
STEPS = {
    "lint": ["-m", "ruff", "check", "."],
    "types": ["-m", "mypy", "."],
    "import contracts": ["-c", _LINT_IMPORTS],
    "missing migrations": [str(ROOT / "manage.py"), "makemigrations", "--check", "--dry-run"],
}
BESIDE = ("tests/config", "tests/maths", "tests/published", "tests/reading", "tastings/maths", "tastings/reading")
"""What is tested beside the rest; it needs no servers or starts its own."""
PYTEST = ["-m", "pytest", "-q"]


def check() -> int:
    """Run every check on throw-away servers, also those after a failed one; return 0 if all passed."""
    flag = StopFlag()
    failed = []
    try:
        with test_servers(flag.pause) as found:
            env = found.environment()
            for name, arguments in STEPS.items():
                print(f"== {name}", flush=True)
                began = time.monotonic()
                if Child(name=name, command=[sys.executable, *arguments], env=env).finish(flag.pause) != 0:
                    failed.append(name)
                print(f"   {time.monotonic() - began:.1f} s", flush=True)
            failed += _tested(env, pause=flag.pause)
    except LaunchError as error:
        print(error, file=sys.stderr)
        return 1
    except Stopped:
        print("stopped", file=sys.stderr)
        return 130
    print(f"failed: {', '.join(failed)}" if failed else "all checks passed")
    return 1 if failed else 0


def _tested(env: Mapping[str, str], *, pause: Pause) -> list[str]:
    """Run the tests; return what failed."""
    print("== tests", flush=True)
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="leafspan-tests-") as folder:
        alone = bool(os.environ.get("DATABASE_URL") or os.environ.get("REDIS_URL"))
        log = Path(folder) / "beside.log"
        own = {**os.environ, "PYTHONUNBUFFERED": "1"}  # without servers: it starts some when it needs them
        beside = Child(
            name="tests beside", command=[sys.executable, *PYTEST, *BESIDE], env=env if alone else own, log=log
        )
        left_out = [f"--ignore={place}" for place in BESIDE]
        rest = Child(name="tests", command=[sys.executable, *PYTEST, *left_out], env=env)
        if not alone:
            beside.start()
        try:
            failed = ["tests"] if rest.finish(pause) != 0 else []
            print(f"   {time.monotonic() - began:.1f} s", flush=True)
            print(f"== tests of {', '.join(BESIDE)}" + ("" if alone else ", run beside"), flush=True)
            if alone:
                beside.start()
            while (code := beside.exit_code) is None:
                pause(0.05)
        except BaseException:
            end([beside])
            raise
        print(log.read_text(errors="replace"), end="")
        print(f"   {time.monotonic() - began:.1f} s", flush=True)
    return failed + (["tests beside"] if code != 0 else [])
