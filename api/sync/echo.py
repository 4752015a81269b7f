"""Leaving out of an answer's changes what its own request has just written, for clients that ask for it.

Such a record comes back with its verdict: what it has beyond what was sent. So a client can put together exactly the
change that was left out, whatever the server added.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import msgspec

_HEAD = ("type", "id", "revision", "deleted", "fields")


def without_echo(answer: Mapping[str, Any], *, sent: Sequence[Any]) -> dict[str, Any]:
    """Return an answer to these changes without the records that its verdicts then describe.

    Such a verdict is on the only change of its record in the request, all of which stands, and nobody has edited the
    record since.
    """
    times = Counter(verdict["id"] for verdict in answer["verdicts"])
    pulled = {change["id"]: change for change in answer["changes"]}
    verdicts = []
    for change, verdict in zip(sent, answer["verdicts"], strict=True):
        record = pulled.get(verdict["id"])
        if record and times[verdict["id"]] == 1 and _stands(record, change, verdict):
            del pulled[verdict["id"]]
            rest = {name: value for name, value in record["fields"].items() if name not in change["fields"]}
            head = {name: value for name, value in record.items() if name not in _HEAD}
            verdicts.append({**verdict, "record": {**head, "fields": rest}})
        else:
            verdicts.append(verdict)
    return {**answer, "changes": list(pulled.values()), "verdicts": verdicts}


def _stands(row: Mapping[str, Any], change: Any, verdict: Mapping[str, Any]) -> bool:  # noqa: ANN401 - as it was sent
    """Whether a pulled record has every field as this change set it, to the letter."""
    if verdict["verdict"] != "applied" or row["deleted"] or row["revision"] != verdict["revision"]:
        return False
    fields = change.get("fields") or {}
    if not fields or not fields.keys() <= row["fields"].keys():
        return False
    return msgspec.json.encode(fields) == msgspec.json.encode({name: row["fields"][name] for name in fields})
