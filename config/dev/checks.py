"""All checks, as ``make test`` runs them: lint, types, import contracts, missing migrations, tests."""

import sys
import time

from config.dev.home import ROOT, LaunchError
from config.dev.process import Child
from config.dev.services import test_servers
from config.dev.signals import StopFlag, Stopped

_LINT_IMPORTS = "from importlinter.cli import lint_imports_command as command; command()"
STEPS = {
    "lint": ["-m", "ruff", "check", "."],
    "types": ["-m", "mypy", "."],
    "import contracts": ["-c", _LINT_IMPORTS],
    "missing migrations": [str(ROOT / "manage.py"), "makemigrations", "--check", "--dry-run"],
    "tests": ["-m", "pytest", "-q"],
}


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
    except LaunchError as error:
        print(error, file=sys.stderr)
        return 1
    except Stopped:
        print("stopped", file=sys.stderr)
        return 130
    print(f"failed: {', '.join(failed)}" if failed else "all checks passed")
    return 1 if failed else 0
