"""Versions of the records as phones speak them. A phone keeps its version for as long as its app is not renewed.

When the records change, the old version stays here with two translations: of a change it sends into the present form,
and of a change it pulls into its own. Both must lose nothing that the version can say.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Dialect:
    """One version: how its changes read in the present form, and how present changes are told in it."""

    read: Callable[[object], object]
    tell: Callable[[Mapping[str, object]], Mapping[str, object]]


SPOKEN: dict[int, Dialect] = {1: Dialect(read=lambda sent: sent, tell=lambda pulled: pulled)}
"""By the number that clients send as ``schema``; 1 is the present form."""
