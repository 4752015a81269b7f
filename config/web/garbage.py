"""Python's collection of garbage in a process that serves for long."""

import gc

_THRESHOLD = 20_000
"""New containers before the youngest are looked through, instead of 700: a push of 100 notes makes ten thousand."""


def collect_less() -> None:
    """Leave all that is loaded out of later collections and look through new objects less often.

    What is loaded stays as long as the process, and looking through it again and again took a fifth of a push.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(_THRESHOLD, 10, 10)
