"""Examples in the OpenAPI document; every name in them is invented.

Those of what happens in a sync are recordings: the files of the conformance kit in ``docs/conformance/``.
"""

import json
from typing import Any

from django.conf import settings
from drf_spectacular.utils import OpenApiExample

from lots.schema import RecordSchema


def example_id(number: int) -> str:
    """Return an id that is used in examples only."""
    return f"0198c0de-0000-7000-8000-{number:012}"


_LOT, _SESSION, _INFUSION, _NOTE, _WORD, _DEVICE, _POT = (example_id(n) for n in range(1, 8))
NEW_RECORDS: dict[str, dict[str, object]] = {
    "lot": {
        "id": _LOT, "name": "Mist Ridge spring", "kind": "oolong", "status": "sample", "harvest_year": 2026,
        "roast": "light",
    },
    "session": {
        "id": _SESSION, "lot": _LOT, "started_at": "2026-03-04T10:00:00Z", "leaf_g": 5, "vessel_ml": 110,
        "vessel_material": "porcelain", "warmed": True, "purpose": "selection",
    },
    "infusion": {"id": _INFUSION, "session": _SESSION, "number": 1, "steep_s": 20, "pour_s": 8, "kettle_c": 98},
    "note": {
        "id": _NOTE, "session": _SESSION, "infusion": _INFUSION, "moment": "mouth", "descriptor": "strength",
        "intensity": 6.5,
    },
    "pot": {"id": _POT, "name": "Small white bowl", "vessel_ml": 110, "vessel_material": "porcelain", "leaf_g": 5},
    "descriptor": {"id": _WORD, "key": "wet_slate", "label": "wet slate", "family": "mineral"},
}  # fmt: skip
"""The body of a new record by its type."""


def new_record_examples(schema: RecordSchema) -> list[OpenApiExample]:
    """Return the example of a new record's body; none for a type without one."""
    new = NEW_RECORDS.get(schema.type)
    return [OpenApiExample(f"A new {schema.type}", value=new, request_only=True)] if new else []


def _sent(type_name: str) -> dict[str, object]:
    fields = dict(NEW_RECORDS[type_name])
    return {"type": type_name, "id": fields.pop("id"), "at": "2026-03-04T10:11:12.345Z", "fields": fields}


_VERDICTS = (
    "echo", "unchanged", "merged", "unknown_parent", "parent_deleted", "brought_back", "not_yours", "quota",
    "invalid_field",
)  # fmt: skip
"""Cases of the conformance kit whose point is the verdict on the last change that the client sends."""
_REFUSALS = {
    "signed_out": 401, "unknown_schema": 409, "start_again": 410, "too_large": 413, "too_many_requests": 429,
    "unavailable": 503,
}  # fmt: skip
"""Cases in which a sync is refused as a whole, with the status."""
_PULLED = ("scope", "photo", "flight", "team")
"""Cases whose point is what the last sync pulls."""


def verdict_examples(case: str) -> list[OpenApiExample]:
    """Return a sync's answer and, if it is as described, its body."""
    about, exchanges = _recorded(case)
    answered = [exchange for exchange in exchanges if exchange["request"]["body"]["changes"]]
    # a change that waits is sent again, and its last verdict is no longer the point
    chosen = answered[0] if case == "unknown_parent" else answered[-1]
    body, answer = chosen["request"]["body"], chosen["answer"]["body"]
    response = _answer_example(case, about, answer)
    if case == "invalid_field":
        return [response]
    return [OpenApiExample(case, summary=about, value=body, request_only=True), response]


def problem_example(case: str, status: int) -> OpenApiExample:
    """Return the problem document of a refusal."""
    about, exchanges = _recorded(case)
    refused = next(pair["answer"] for pair in exchanges if pair["answer"]["status"] == status)
    return _answer_example(case, about, refused["body"], status=status, media_type="application/problem+json")


def _answer_example(
    case: str, about: str, answer: object, *, status: int = 200, media_type: str = "application/json"
) -> OpenApiExample:
    return OpenApiExample(
        case, summary=about, value=answer, response_only=True, status_codes=[str(status)], media_type=media_type
    )


def _pulled_example(case: str) -> OpenApiExample:
    about, exchanges = _recorded(case)
    return _answer_example(case, about, exchanges[-1]["answer"]["body"])


def _stream_examples() -> list[OpenApiExample]:
    """Return the body that asks for the rest of a stream, and its last line."""
    about, exchanges = _recorded("stream")
    last = exchanges[-1]
    return [
        OpenApiExample("stream", summary=about, value=last["request"]["body"], request_only=True),
        _answer_example("stream", about, last["answer"]["lines"][-1], media_type="application/x-ndjson"),
    ]


def _recorded(case: str) -> tuple[str, list[dict[str, Any]]]:
    """Return what a case of the conformance kit is about, and its requests that were answered, as the file has them."""
    recorded = json.loads((settings.BASE_DIR / "docs" / "conformance" / f"{case}.json").read_text("utf-8"))
    exchanges = [exchange for step in recorded["steps"] for exchange in step.get("exchanges", ())]
    return recorded["about"], [exchange for exchange in exchanges if exchange["answer"]]


_SYNC = {"schema": 1, "device": _DEVICE}
SYNC_EXAMPLES = [
    OpenApiExample("Pull from the start", value={**_SYNC, "cursor": 0}, request_only=True),
    OpenApiExample(
        "Pull the tastings of 120 days and of one lot from the start",
        value={**_SYNC, "cursor": 0, "scope": {"days": 120, "lots": [_LOT]}},
        request_only=True,
    ),
    OpenApiExample(
        "Push an infusion with a rating, and pull",
        value={**_SYNC, "cursor": 1234, "changes": [_sent("infusion"), _sent("note")]},
        request_only=True,
    ),
    OpenApiExample(
        "Push a deletion",
        value={
            **_SYNC,
            "cursor": 1234,
            "changes": [{"type": "note", "id": _NOTE, "at": "2026-03-04T10:12:00Z", "deleted": True}],
        },
        request_only=True,
    ),
    *(example for case in _VERDICTS for example in verdict_examples(case)),
    *(_pulled_example(case) for case in _PULLED),
    *(problem_example(case, status) for case, status in _REFUSALS.items()),
]
"""Examples of a sync's body and answer."""
STREAM_EXAMPLES = _stream_examples()
"""Examples of a stream's body and one of its lines."""
PHOTO_EXAMPLES = [problem_example("full", 507)]
"""Example of a photo that is announced."""
