"""How long to wait before trying again."""

import random
import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class RetryPolicy:
    """Exponential backoff with jitter, so that a shop's phones do not all come back at once.

    ``attempts`` counts the first one, too. ``sleep`` and ``jitter`` (a number from 0 to 1) can be given by tests.
    """

    attempts: int = 6
    first_s: float = 0.5
    longest_s: float = 30.0
    sleep: Callable[[float], None] = time.sleep
    jitter: Callable[[], float] = random.random

    def pause(self, failures: int, *, at_least_s: float = 0.0) -> None:
        """Wait after so many failures in a row: half to all of the doubled pause, or what the server asked for."""
        pause_s = min(self.longest_s, self.first_s * 2 ** (failures - 1))
        self.sleep(max(pause_s * (0.5 + self.jitter() / 2), at_least_s))
