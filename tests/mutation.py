"""Break the code on purpose, a small change at a time, and see whether the nearest tests notice: ``make mutation``.

mutmut makes the changes, in a copy of the repository; the servers that its test runs share are started here. It takes
hours and is no part of ``make test``; docs/testing.md has the last scores. Arguments choose among `GROUPS`.
"""

import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from config.dev.services import test_servers
from config.settings import BASE_DIR

GROUPS = {
    "merge": (["lots/merge.py"], ["tests/lots/test_merge.py"]),
    "posterior": (
        ["tastings/maths/curve/posterior.py"],
        ["tests/maths/curve/test_posterior.py", "tests/maths/curve/test_outliers.py"],
    ),
    "pull": (
        ["tastings/queries/pull.py"],
        [f"tests/sync/test_{name}.py" for name in ("pull", "blind", "scope", "written", "pull_only")],
    ),
    "push": (
        ["tastings/actions/push/*.py"],
        [
            *(f"tests/sync/test_{name}.py" for name in ("push", "blind", "sent_again", "permissions", "order")),
            "tests/api/test_records.py",
        ],
    ),
    "reveal": (
        ["tastings/actions/flights/revealing.py", "tastings/queries/flight_scores.py"],
        ["tests/tastings/test_flight_answers.py", "tests/sync/test_blind.py"],
    ),
    "row_security": (
        ["teams/postgresql/base.py", "teams/row_security.py"],
        [
            *(f"tests/{folder}/test_row_security.py" for folder in ("api", "tastings", "teams")),
            "tests/sync/test_permissions.py",
        ],
    ),
}
"""By name: the files that are changed, and the tests that are run for each change of one of their lines."""
_SOURCES = ("api", "config", "lots", "pages", "table", "tastings", "teams")


def main(names: list[str]) -> int:
    """Run the groups; return how many of them have changes that no test noticed."""
    return sum(_survivors(*GROUPS[name]) for name in names or GROUPS)


def _survivors(files: list[str], tests: list[str]) -> bool:
    mutmut = str(Path(sys.executable).with_name("mutmut"))
    with test_servers() as servers, TemporaryDirectory() as folder:
        tracked = subprocess.check_output(["git", "ls-files"], cwd=BASE_DIR, text=True).splitlines()  # noqa: S607
        for name in tracked:
            target = Path(folder, name)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(BASE_DIR / name, target)
        others = {name.partition("/")[0] for name in tracked} - {*_SOURCES, "tests"}
        options = {
            "source_paths": _SOURCES,
            "only_mutate": files,
            "also_copy": sorted(others),
            "pytest_add_cli_args": ["--reuse-db", "-x", "-q"],
            "pytest_add_cli_args_test_selection": tests,
        }
        lines = [f"{name} =\n    " + "\n    ".join(values) for name, values in options.items()]
        Path(folder, "setup.cfg").write_text("\n".join(["[mutmut]", *lines, ""]))
        # one at a time: all test runs use one database
        command = [mutmut, "run", "--max-children", "1"]
        subprocess.run(command, cwd=folder, env=servers.environment(), check=True)
        shown = subprocess.check_output([mutmut, "results"], cwd=folder, text=True)
        for name in (line.split(":")[0].strip() for line in shown.splitlines() if "survived" in line):
            subprocess.run([mutmut, "show", name], cwd=folder, check=False)
        return "survived" in shown


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
