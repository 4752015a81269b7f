"""The app's log of what a phone has, in Node."""

import subprocess

from table.shell import FILES
from tests.table.javascript_phone import NODE

WAITS = """
const { Log } = await import(process.argv[1]);
new Log("leafspan nobody").whole();
setTimeout(() => (console.log("goes on"), process.exit()));
"""


def test_tab_goes_on_when_another_writes_before_the_log_is_open():
    # a message of the other tab waits for the first reading; a wait that never yields would freeze the tab
    command = [NODE, "--input-type=module", "--eval", WAITS, FILES / "data" / "log.js"]
    assert subprocess.run(command, capture_output=True, text=True, timeout=30, check=True).stdout == "goes on\n"
