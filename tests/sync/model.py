"""What the contract says must become of edits, written a second time and as simply as can be.

Of every field the edit with the greatest (moment, device, number of the device's change) is current; a moment more
than two minutes ahead of the server's clock counts as the moment at which the server first received it. A record is
gone while its deletion is later than all else.
"""

import json
from dataclasses import dataclass, field
from datetime import datetime, timedelta

LEEWAY = timedelta(minutes=2)


@dataclass
class Expected:
    """One record: the winner of each field with its rank, and every value that the server ever took."""

    type: str
    winners: dict[str, tuple[tuple[str, str, str, int, str], object]] = field(default_factory=dict)
    taken: list[tuple[str, object]] = field(default_factory=list)

    @property
    def removed(self) -> bool:
        """Whether its deletion is the latest word."""
        orders = {name: rank[:4] for name, (rank, _) in self.winners.items()}
        deletion = orders.pop("deleted", None)
        return deletion is not None and all(order <= deletion for order in orders.values())

    @property
    def values(self) -> dict[str, object]:
        """The present values of the fields that anyone set."""
        return {name: value for name, (_, value) in self.winners.items()}


class Model:
    """All records, and which edits the server has taken; an edit is known by its device and its own moment."""

    def __init__(self) -> None:
        self.records: dict[str, Expected] = {}
        self.changes: dict[tuple[str, str, str], dict[str, object]] = {}

    def receive(self, device: str, changes, verdicts, *, now: datetime) -> None:
        """Take in what the server took in."""
        for change, verdict in zip(changes, verdicts, strict=True):
            known = (change["id"], device, change["at"])
            if verdict["verdict"] == "refused" or known in self.changes:
                continue
            self.changes[known] = change
            ahead = datetime.fromisoformat(change["at"]) > now + LEEWAY
            moment = f"{now:%Y-%m-%dT%H:%M:%S.%fZ}" if ahead else change["at"]
            record = self.records.setdefault(change["id"], Expected(change["type"]))
            for name, value in (change.get("fields") or {"deleted": True}).items():
                rank = (moment, device, change["at"] if ahead else "", change["seq"], json.dumps(value))
                record.taken.append((name, value))
                if name not in record.winners or rank > record.winners[name][0]:
                    record.winners[name] = (rank, value)

    def forget(self, records: set[str]) -> None:
        """Forget records whose deletion the server no longer knows."""
        self.records = {i: record for i, record in self.records.items() if i not in records}
        self.changes = {known: change for known, change in self.changes.items() if known[0] not in records}
