"""Where a team's revision counter begins, and how far it is advanced after a restore or an import.

It begins at a random number, so that the revisions of two teams lie far apart and no cursor fits both.

A phone pulls what comes after its cursor. One that synced after a backup or export was written has a cursor beyond the
counter in that file and would never receive the next changes. So a restore or import advances the counter past every
possible cursor.
"""

import secrets

REVISION_JUMP = 1_000_000_000
"""More changes than a team makes between a backup and the loss of the server; there is room for billions of them."""
_HIGHEST_BEGINNING = 2**52
"""So that a counter stays below 2**53, which JavaScript can count to."""


def random_beginning() -> int:
    """Return the revision at which the counter of a new team begins."""
    return secrets.randbelow(_HIGHEST_BEGINNING)
