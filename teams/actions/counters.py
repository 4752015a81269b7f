"""How far a team's revision counter is advanced after a restore or an import.

A phone pulls what comes after its cursor. A phone that synced after the file was written may have a cursor beyond the
file's counter and would never receive the next changes. So the counter is advanced past every possible cursor.
"""

REVISION_JUMP = 1_000_000_000
"""More changes than a team makes between a backup and the loss of the server; there is room for billions of them."""
