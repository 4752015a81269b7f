"""Leaving out of an answer's changes what its own request has just written, for clients that ask for it.

Such a record comes back with its verdict: what it has beyond what was sent. So a client can put together exactly the
change that was left out, whatever the server added.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import NotRequired, TypedDict

import msgspec

_HEAD = ("type", "id", "revision", "deleted", "fields")


class SyncPage(TypedDict):
    """What changed after a cursor."""

    changes: list[Mapping[str, object]]
    cursor: int
    more: bool
    scope_token: NotRequired[str]


class SyncAnswer(SyncPage):
    """The answer to a sync."""

    verdicts: list[dict[str, object]]
    now: str


def without_echo(answer: SyncAnswer, *, sent: Sequence[object]) -> SyncAnswer:
    """Return an answer to these changes without the records that its verdicts then describe.

    Such a verdict is on the only change of its record in the request, all of which stands, and nobody has edited the
    record since.
    """
    times = Counter(verdict["id"] for verdict in answer["verdicts"])
    pulled = {change["id"]: change for change in answer["changes"]}
    verdicts: list[dict[str, object]] = []
    for change, verdict in zip(sent, answer["verdicts"], strict=True):
        record = pulled.get(verdict["id"])
        if record and times[verdict["id"]] == 1 and _stands(record, change, verdict):
            del pulled[verdict["id"]]
            sent_fields = fields_of(change)
            rest = {name: value for name, value in fields_of(record).items() if name not in sent_fields}
            head = {name: value for name, value in record.items() if name not in _HEAD}
            verdicts.append({**verdict, "record": {**head, "fields": rest}})
        else:
            verdicts.append(verdict)
    return {**answer, "changes": list(pulled.values()), "verdicts": verdicts}


def fields_of(change: object) -> Mapping[str, object]:
    """Return the fields of a change, sent or pulled; empty when it has none."""
    fields = change.get("fields") if isinstance(change, Mapping) else None
    return fields if isinstance(fields, Mapping) else {}


def _stands(row: Mapping[str, object], change: object, verdict: Mapping[str, object]) -> bool:
    """Whether a pulled record has every field as this change set it, to the letter."""
    if verdict["verdict"] != "applied" or row["deleted"] or row["revision"] != verdict["revision"]:
        return False
    fields, pulled = fields_of(change), fields_of(row)
    if not fields or not fields.keys() <= pulled.keys():
        return False
    return msgspec.json.encode(fields) == msgspec.json.encode({name: pulled[name] for name in fields})
