"""How much of a costly test runs in ``make test``; ``make fuzz`` runs all of it."""

import os


def examples(few: int, *, of: int) -> int:
    """Return how many examples, simulated lots or seeds to try: a few in ``make test``, all in ``make fuzz``."""
    return of if "LEAFSPAN_FUZZ" in os.environ else few
