"""Versions of the record schemas that phones use. A phone keeps its version until its app is updated.

When the records change, the old version stays here with two translations: of a change that such a phone sends into the
present form, and of a change that it pulls into its own. Both must keep everything that the old version has.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SchemaVersion:
    """One version: how its changes become present ones, and how present changes become its own."""

    upgrade: Callable[[object], object]
    downgrade: Callable[[Mapping[str, object]], Mapping[str, object]]


SCHEMA_VERSIONS: dict[int, SchemaVersion] = {
    1: SchemaVersion(upgrade=lambda sent: sent, downgrade=lambda pulled: pulled)
}
"""Versions by the number that clients send as ``schema``; 1 is the present form."""
