"""What must be true once everything runs again: nothing lost, nothing applied twice, all figures current."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from table.phone import HttpTransport, MemoryStore, Phone, RefusedError
from tests.config.launching import eventually
from tests.faults.installation import PASSWORD
from tests.faults.tasters import SimulatedTaster

Entries = Mapping[str, list[Mapping[str, Any]]]
"""History entries by record."""
TYPES = ("lot", "session", "infusion", "note")


def new_phone(url: str, *, username: str) -> Phone:
    """Return a new phone that has pulled everything."""
    phone = Phone(HttpTransport(url), store=MemoryStore())
    phone.sign_in(username=username, password=PASSWORD)
    phone.sync()
    return phone


def figures_are_current(phone: Phone, *, limit_s: float) -> bool:
    """Whether the figures of all lots are current within the limit."""
    lots = [record.id for record in phone.records("lot")]
    return eventually(
        lambda: not any(phone.request("GET", f"/api/v1/lots/{lot}/development")["stale"] for lot in lots),
        seconds=limit_s,
    )


REVISIONS_OF_A_PHOTO = 2
"""When it is announced, and when it is checked."""


def check_records(phone: Phone, tasters: Iterable[SimulatedTaster], *, revision: int) -> list[str]:
    """Return everything that is wrong: changes lost or applied twice, phones that disagree."""
    tasters = list(tasters)
    changes = {(taster.phone.device, str(change["at"])): change for taster in tasters for change in taster.acknowledged}
    histories = {
        (kind, record): phone.request("GET", f"/api/v1/{kind}s/{record}/history")
        for kind, record in {(str(change["type"]), str(change["id"])) for change in changes.values()}
    }
    entries = {record: [*h["current"], *h["overwritten"]] for (_, record), h in histories.items()}
    errors = [*_applied_twice(entries), *_lost(changes.values(), entries)]
    of_photos = REVISIONS_OF_A_PHOTO * sum(len(taster.photos) for taster in tasters)
    of_team = sum(len(phone.records(kind)) for kind in ("member", "shop"))
    least, most = sum(taster.unshared_changes for taster in tasters), len(changes) + of_photos + of_team
    if not least <= revision <= most:
        errors.append(f"the team counts {revision} revisions, not {least} to {most}")
    errors += [
        f"{taster.username} shows other {kind}s than the server"
        for taster in tasters
        for kind in TYPES
        if taster.phone.records(kind) != phone.records(kind)
    ]
    return errors


def _applied_twice(entries: Entries) -> Iterator[str]:
    for record, of_record in entries.items():
        seen = Counter((entry["field"], entry["device"], entry["claimed_at"] or entry["at"]) for entry in of_record)
        yield from (f"twice in the history of {record}: {key}" for key, n in seen.items() if n > 1)


def _lost(changes: Iterable[Mapping[str, Any]], entries: Entries) -> Iterator[str]:
    for change in changes:
        values: dict[str, list[object]] = {}
        for entry in entries[str(change["id"])]:
            values.setdefault(entry["field"], []).append(entry["value"])
        for name, value in (change.get("fields") or {"deleted": True}).items():
            if value not in values.get(name, []):
                yield f"lost: {name} of {change['type']} {change['id']}, {value!r}"


def check_photos(phone: Phone, tasters: Iterable[SimulatedTaster], *, limit_s: float) -> list[str]:
    """Return which photos are not stored as they were sent, waiting so long for the workers."""
    sent = {photo: content for taster in tasters for photo, content in taster.photos.items()}

    def fault_of(photo: str) -> str:
        try:
            stored = phone.request("GET", f"/api/v1/photos/{photo}/")
        except RefusedError as refusal:
            return str(refusal)
        return "" if (stored["state"], stored["sha256"], stored["bytes"]) == ("kept", *sent[photo]) else str(stored)

    eventually(lambda: not any(map(fault_of, sent)), seconds=limit_s)
    return [f"photo {photo} is not kept as sent: {why}" for photo in sent if (why := fault_of(photo))]
