"""What the contract says must become of edits, written a second time and as simply as can be.

Of every field the edit with the greatest (moment, device, number of the device's change) is current; a moment more
than two minutes ahead of the server's clock counts as later than all that the server has received for the same fields,
and as earlier than later edits of the same device. A record is gone while its deletion is later than all else. A
taster's edit is accepted only of what is theirs, and never of a purchase; of a viewer none. An edit that was accepted
once stays accepted when it is sent again, whatever role its sender has by then.
"""

import json
from dataclasses import dataclass, field
from datetime import datetime, timedelta

LEEWAY = timedelta(minutes=2)
PURCHASE = ("status", "quantity_g")
"""Fields of a lot that the stories edit and a taster does not set."""
LIMITED = ("taster", "viewer")
"""Roles that may not change all that they see."""
PARENTS_FIRST = ("descriptor", "lot", "pot", "session", "infusion", "note")


@dataclass
class Expected:
    """One record: the winner of each field with its rank, and every value that the server ever took."""

    type: str
    author: str = ""
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

    def __init__(self, members: dict[str, str]) -> None:
        """Begin with nothing; ``members`` says by device who holds it."""
        self.members = members
        self.records: dict[str, Expected] = {}
        self.changes: dict[tuple[str, str, str], dict[str, object]] = {}

    def receive(self, device: str, changes, verdicts, *, role: str, now: datetime) -> None:
        """Take in what the server took in, from a member who has this role now."""
        judged = zip(changes, verdicts, strict=True)
        for change, verdict in sorted(judged, key=lambda pair: PARENTS_FIRST.index(pair[0]["type"])):
            known = (change["id"], device, change["at"])
            if known in self.changes:
                reasons = {(problem["field"], problem["code"]) for problem in verdict["problems"]}
                lost_role = ("", "not_allowed") in reasons or any(code == "not_yours" for _, code in reasons)
                assert not lost_role, f"{change} was accepted before, and is refused to a {role}"
                continue
            if verdict["verdict"] == "refused":
                continue
            self.changes[known] = change
            ahead = datetime.fromisoformat(change["at"]) > now + LEEWAY
            record = self.records.setdefault(change["id"], Expected(change["type"], self.members[device]))
            fields = change.get("fields") or {"deleted": True}
            moment = received_last(change, record, fields, device=device, now=now) if ahead else change["at"]
            if role in LIMITED:
                stands = {name: value for name, (_, value) in record.winners.items()}
                if verdict["verdict"] == "unchanged" and fields.items() <= stands.items():
                    continue  # an older edit that says what a later one says: it sets nothing, whosever the record is
                assert role == "taster", f"{change} is a viewer's"
                fields = self.limited(change, record, fields, who=self.members[device])
            for name, value in fields.items():
                rank = (moment, device, change["at"] if ahead else "", change["seq"], json.dumps(value))
                record.taken.append((name, value))
                if name not in record.winners or rank > record.winners[name][0]:
                    record.winners[name] = (rank, value)

    def limited(self, change, record, fields, *, who):
        """Return the fields that a taster's accepted edit sets; fail if it should have been refused."""
        session = record.values.get("session") or fields.get("session")
        owned = self.records.get(str(session), record) if change["type"] in ("infusion", "note") else record
        assert owned.author == who, f"{change} is not {who}'s"
        if change["type"] != "lot":
            return fields
        assert record.values.get("status") in (None, "sample"), f"{change} is of a lot that is bought"
        fields = {n: v for n, v in fields.items() if n not in PURCHASE or v != record.values.get(n)}
        assert not {(n, v) for n, v in fields.items() if n in PURCHASE} - {("status", "sample")}, change
        return fields

    def forget(self, records: set[str]) -> None:
        """Forget records whose deletion the server no longer knows."""
        self.records = {i: record for i, record in self.records.items() if i not in records}
        self.changes = {known: change for known, change in self.changes.items() if known[0] not in records}


def received_last(change, record, fields, *, device, now):
    """Return the moment of an edit from a clock far ahead."""
    names = record.winners if "deleted" in fields else {*fields, "deleted"} & record.winners.keys()
    ranks = [record.winners[name][0] for name in names]
    later = [moment for moment, who, _, seq, _ in ranks if who == device and seq > change["seq"]]
    rest = [moment for moment, who, _, seq, _ in ranks if who != device or seq < change["seq"]]
    return min([max([text(now), *(moved(one, 1) for one in rest)]), *(moved(one, -1) for one in later)])


def text(moment):
    return f"{moment:%Y-%m-%dT%H:%M:%S.%fZ}"


def moved(moment, by_us):
    return text(datetime.fromisoformat(moment) + timedelta(microseconds=by_us))
