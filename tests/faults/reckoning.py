"""What must be true once everything runs again."""

from collections import Counter
from collections.abc import Iterable

from table.phone import HttpLink, MemoryStore, Phone, RefusedError
from tests.config.launching import eventually
from tests.faults.installation import PASSWORD
from tests.faults.table import Seat

TYPES = ("lot", "session", "infusion", "note")


def fresh(url: str, *, username: str) -> Phone:
    """Return a new phone that has pulled everything."""
    phone = Phone(HttpLink(url), store=MemoryStore())
    phone.sign_in(username=username, password=PASSWORD)
    phone.sync()
    return phone


def figures_fresh(phone: Phone, *, limit_s: float) -> bool:
    """Whether no lot's figures are behind, within the limit."""
    lots = [record.id for record in phone.records("lot")]
    return eventually(
        lambda: not any(phone.ask("GET", f"/api/v1/lots/{lot}/development")["stale"] for lot in lots), seconds=limit_s
    )


def reckon(phone: Phone, seats: Iterable[Seat], *, revision: int) -> list[str]:
    """Return everything that is wrong: changes lost or applied twice, phones that disagree."""
    seats, wrong = list(seats), []
    changes = {(seat.phone.device, str(change["at"])): change for seat in seats for change in seat.acknowledged}
    histories = {
        (kind, record): phone.ask("GET", f"/api/v1/{kind}s/{record}/history")
        for kind, record in {(str(change["type"]), str(change["id"])) for change in changes.values()}
    }
    kept: dict[tuple[str, str], list[object]] = {}
    for (_, record), history in histories.items():
        entries = [*history["current"], *history["overwritten"]]
        seen = Counter((e["field"], e["device"], e["claimed_at"] or e["at"]) for e in entries)
        wrong += [f"twice in the history of {record}: {key}" for key, n in seen.items() if n > 1]
        for entry in entries:
            kept.setdefault((record, entry["field"]), []).append(entry["value"])
    for change in changes.values():
        fields = change.get("fields") or {"deleted": True}
        if not isinstance(fields, dict):
            continue
        for name, value in fields.items():
            if value not in kept.get((str(change["id"]), name), []):
                wrong.append(f"lost: {name} of {change['type']} {change['id']}, {value!r}")
    own, all_of_them = sum(seat.own for seat in seats), len(changes)
    if not own <= revision <= all_of_them:
        wrong.append(f"the team counts {revision} revisions, not {own} to {all_of_them}")
    for seat in seats:
        wrong += [
            f"{seat.username} shows other {kind}s than the server"
            for kind in TYPES
            if seat.phone.records(kind) != phone.records(kind)
        ]
    return wrong


def reckon_photos(phone: Phone, seats: Iterable[Seat], *, limit_s: float) -> list[str]:
    """Return which photos, acknowledged in full, are not kept as they were sent, once a worker has had its time."""
    sent = {photo: told for seat in seats for photo, told in seat.photos.items()}

    def unfit(photo: str) -> str:
        try:
            held = phone.ask("GET", f"/api/v1/photos/{photo}/")
        except RefusedError as refusal:
            return str(refusal)
        return "" if (held["state"], held["sha256"], held["bytes"]) == ("kept", *sent[photo]) else str(held)

    eventually(lambda: not any(map(unfit, sent)), seconds=limit_s)
    return [f"photo {photo} is not kept as sent: {why}" for photo in sent if (why := unfit(photo))]
