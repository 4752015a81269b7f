"""How far a long run is, on standard error."""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic

ProgressCallback = Callable[[str, int, int], None]
"""Called with a step, how much of it is done, and of how much."""


@dataclass(slots=True)
class Progress:
    """Says how far the run is, at most once in two seconds."""

    begun: float
    last_printed_at: float = 0.0

    def __call__(self, step: str, done: int, of: int) -> None:
        """Say it."""
        now = monotonic()
        if done == of or now - self.last_printed_at > 2:
            self.last_printed_at = now
            print(f"\r{now - self.begun:5.0f} s  {step}: {done} of {of}    ", end="", file=sys.stderr, flush=True)
            if done == of:
                print(file=sys.stderr)
