"""`make test`: programs side by side, each with its exit status, the static checks in the time that tests leave."""

import os
import sys
import time

from config.dev.checks import _LOWEST_PRIORITY, _run_side_by_side
from config.dev.process import Child

WAIT_FOR_PRIORITY = (
    "import os, time\n"
    "until = time.monotonic() + 60\n"
    "while os.nice(0) == {usual} and time.monotonic() < until: time.sleep(0.05)\n"
    "print(os.nice(0))"
)


def child(name, program, *, log):
    return Child(name=name, command=[sys.executable, "-c", program], env=os.environ, log=log)


def test_static_checks_leave_the_processor_to_the_tests(tmp_path):
    usual = os.nice(0)
    lint = child("lint", WAIT_FOR_PRIORITY.format(usual=usual), log=tmp_path / "lint")
    tests = child("tests", "import os; print(os.nice(0))", log=tmp_path / "tests")

    assert _run_side_by_side([[tests], [lint]], time.sleep) == []
    assert int((tmp_path / "tests").read_text()) == usual
    assert int((tmp_path / "lint").read_text()) == _LOWEST_PRIORITY


def test_what_failed_is_named_and_the_rest_of_its_queue_runs(tmp_path):
    first, second = (child(name, program, log=tmp_path / name) for name, program in (("one", "1/0"), ("two", "pass")))

    assert _run_side_by_side([[first, second]], time.sleep) == ["one"]
    assert second.exit_code == 0
