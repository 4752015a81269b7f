"""A team's counter after its records came from a file: past every cursor that a phone may hold.

A phone asks for what comes after its cursor. One that spoke with the server after the file was made holds a cursor that
the counter of the file has not reached: what is written next would get revisions below it and never reach that phone.
"""

from datetime import datetime

from django.db.models import F

from teams.models import Team

JUMP = 1_000_000_000
"""More changes than a team makes between a backup and the loss of the server; there is room for billions of them."""


def past_every_cursor(*, now: datetime, start_again: bool) -> int:
    """Put every team's counter past all cursors; return how many teams there are.

    Parameters
    ----------
    now
        The present moment.
    start_again
        Whether phones are also told to pull everything anew. Then all see just what the server holds, and what only
        phones still hold is gone; otherwise a phone keeps what it has beside what is written from now on.
    """
    count = Team.objects.update(revision=F("revision") + JUMP)
    if start_again:
        Team.objects.update(pruned_revision=F("revision"), pruned_before=now)
    return count
