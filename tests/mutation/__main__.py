"""Break the code on purpose, a small change at a time, and see whether the nearest tests notice: ``make mutation``.

mutmut makes the changes, in a copy of the repository; `tests.mutation.warm_runs` runs the tests for each. It takes an
hour or more and is no part of ``make test``; docs/testing.md has the last scores. Arguments choose among `GROUPS`;
names of changes, as a run printed them, or their part before ``__mutmut_``, choose among the changes of the groups.
Without such names the most promising tests are run for a change, `_LONGEST_S` seconds of processor time together; with
them all tests that run its line.
"""

import difflib
import json
import os
import shutil
import subprocess
import sys
from collections import Counter
from itertools import takewhile
from pathlib import Path
from tempfile import TemporaryDirectory

from mutmut.mutation.file_mutation import MutatedFile, mutate_file_contents
from mutmut.utils.format_utils import get_mutant_name

from config.settings import BASE_DIR
from tests.mutation.warm_runs import CHANGES, RESULTS, Change

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
            f"tests/sync/test_{name}.py"
            for name in (
                *("change", "checks", "permission_rules", "applying", "pending", "stored", "push_steps"),  # no database
                *("reading", "rows", "push", "blind", "sent_again", "permissions", "order", "written"),
            )
        ],
    ),
    "reveal": (
        ["tastings/actions/flights/revealing.py", "tastings/queries/flight_scores.py"],
        ["tests/tastings/test_flight_scores.py", "tests/tastings/test_flight_answers.py", "tests/sync/test_blind.py"],
    ),
    "row_security": (
        ["teams/postgresql/base.py", "teams/row_security.py"],
        [
            *(f"tests/{folder}/test_row_security.py" for folder in ("api", "tastings", "teams")),
            "tests/teams/test_connection.py",
            "tests/sync/test_permissions.py",
        ],
    ),
}
"""By name: the files that are changed, and the tests that are run for each change of one of their lines."""

_LONGEST_S = 4


def main(arguments: list[str]) -> int:
    """Run the groups; return how many of them have changes that no test noticed."""
    groups = [name for name in arguments if name in GROUPS]
    changes = {name for name in arguments if name not in GROUPS}
    return sum(_survivors(*GROUPS[name], changes) for name in groups or GROUPS)


def _survivors(patterns: list[str], tests: list[str], chosen: set[str]) -> bool:
    """Run one group, or the chosen changes of it; return whether a change was not noticed."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        for path in subprocess.check_output(["git", "ls-files"], cwd=BASE_DIR, text=True).splitlines():  # noqa: S607
            target = folder / path
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(BASE_DIR / path, target)
        (folder / "setup.cfg").write_text("[mutmut]\nsource_paths = .\n")
        os.chdir(folder)  # where mutmut looks for its settings
        files = [path for pattern in patterns for path in sorted(folder.glob(pattern))]
        changes = {name: change for path in files for name, change in _write_changes(path.relative_to(folder))}
        if chosen:
            changes = {name: change for name, change in changes.items() if _is_chosen(name, chosen)}
        else:
            changes = {name: change._replace(longest_s=_LONGEST_S) for name, change in changes.items()}
        CHANGES.write_text(json.dumps(changes))
        command = [sys.executable, "-m", "pytest", "-q", "--tb=line", "-p", "tests.mutation.warm_runs", *tests]
        subprocess.run(command, check=True)
        outcomes = Counter(RESULTS.read_text().split("\n"))
        os.chdir(BASE_DIR)
    print(dict(outcomes))  # noqa: T201
    return "not noticed" in outcomes


def _is_chosen(name: str, chosen: set[str]) -> bool:
    """Whether a change, or all of its function, are among the chosen ones."""
    return name in chosen or name.partition("__mutmut_")[0] in chosen


def _write_changes(path: Path) -> list[tuple[str, Change]]:
    """Replace a file by one that holds all its changes, one of which is chosen when it runs; return these."""
    changed = mutate_file_contents(str(path), path.read_text())
    path.write_text(changed.code)
    return [(get_mutant_name(path, name), _change(changed, name, path)) for name in changed.mutant_names]


def _change(changed: MutatedFile, name: str, path: Path) -> Change:
    """Return what one change does to its function, and where."""
    lines, spans = changed.code.splitlines(), changed.line_span_by_function_name
    pieces = [spans[key] for key in (f"{name.partition('__mutmut_')[0]}__mutmut_orig", name)]
    before, after = (lines[piece.start : piece.end] for piece in pieces)
    pairs = zip(before, after, strict=False)
    same = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1] or "__mutmut_" in pair[0], pairs))
    diff = "\n".join(list(difflib.unified_diff(before, after, n=1, lineterm=""))[2:])
    return Change(diff, str(path.resolve()), pieces[0].start + 1, pieces[0].end, pieces[0].start + same + 1, None)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
