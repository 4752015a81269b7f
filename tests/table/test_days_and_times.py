"""The app writes days and times as the pages do, by the clock of 24 hours and the day before the month."""

import os
import subprocess
from pathlib import Path

import pytest
from playwright._impl._driver import compute_driver_executable

MODULE = Path(__file__).resolve().parents[2] / "table/static/table/parts/i18n.js"
SCRIPT = """
const { language, when, number } = await import(process.argv[1]);
language.value = process.argv[2];
const now = "2026-09-26T09:00:00";
console.log([when("2026-09-25T14:30:00", now), when("2026-09-26T14:30:00", now), number(1234.5, 1)].join("|"));
"""


@pytest.mark.parametrize(
    ("language", "written"),
    [("en", "25 Sept 2026|14:30|1,234.5"), ("de", "25.09.2026|14:30|1.234,5")],
)
def test_days_times_and_numbers_are_those_of_the_language(language, written):
    node, _driver = compute_driver_executable()
    done = subprocess.run(
        [node, "--input-type=module", "-e", SCRIPT, MODULE.as_uri(), language],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "TZ": "UTC"},
    )
    assert done.stdout.strip() == written
