"""Examples in the OpenAPI document; every name in them is invented."""

from drf_spectacular.utils import OpenApiExample

from lots.schema import RecordSchema

_ID = "0198c0de-0000-7000-8000-00000000000{}"
_LOT, _SESSION, _INFUSION, _NOTE, _WORD, _DEVICE, _POT = (_ID.format(n) for n in range(1, 8))
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
"""By record type: the body of a new one."""


def new_record_examples(schema: RecordSchema) -> list[OpenApiExample]:
    """Return the example of a new record's body; none for a type without one."""
    new = NEW_RECORDS.get(schema.type)
    return [OpenApiExample(f"A new {schema.type}", value=new, request_only=True)] if new else []


def _sent(type_name: str) -> dict[str, object]:
    fields = dict(NEW_RECORDS[type_name])
    return {"type": type_name, "id": fields.pop("id"), "at": "2026-03-04T10:11:12.345Z", "fields": fields}


_SYNC = {"schema": 1, "device": _DEVICE}
SYNC_EXAMPLES = [
    OpenApiExample("Pull from the start", value={**_SYNC, "cursor": 0}, request_only=True),
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
    OpenApiExample(
        "A change that is refused alone",
        value={
            "verdicts": [
                {
                    "type": "infusion",
                    "id": _INFUSION,
                    "verdict": "refused",
                    "revision": None,
                    "problems": [{"field": "steep_s", "code": "range", "detail": "must be at least 0"}],
                }
            ],
            "changes": [],
            "cursor": 1234,
            "more": False,
            "now": "2026-03-04T10:11:13Z",
        },
        response_only=True,
        status_codes=["200"],
    ),
]
"""Of a sync's body and answer."""
