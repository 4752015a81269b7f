"""What a phone sends: changes and sync bodies."""

from uuid import UUID, uuid4

PHONE = UUID("00000000-0000-7000-8000-000000000001")
AT = "2026-03-04T12:30:00Z"
"""Later than what the factories make."""
NEW_RECORD = {
    "lot": {"name": "Mist Ridge", "kind": "oolong"},
    "pot": {"name": "Shelf bowl", "vessel_ml": 110, "vessel_material": "porcelain"},
    "session": {"started_at": "2026-03-04T10:00:00Z", "leaf_g": 5, "vessel_ml": 110},
    "infusion": {"number": 1, "steep_s": 10, "kettle_c": 99},
    "note": {"moment": "mouth"},
    "descriptor": {"key": "wet_slate", "label": "wet slate"},
}
"""What a new record must have, beside its parents."""


def change(type_name, record=None, /, *, at=AT, deleted=False, **fields):
    """Return one change of a sync body, of a new id unless one is given."""
    made = {"type": type_name, "id": str(record or uuid4()), "at": at}
    return {**made, "deleted": True} if deleted else {**made, "fields": fields}


def sync(client, changes=(), *, cursor=0, limit=500, device=PHONE, **scope):
    """Push and pull; return the answer's body, which must be a success."""
    response = post_sync(client, changes=list(changes), cursor=cursor, limit=limit, device=str(device), **scope)
    assert response.status_code == 200, response.content
    return response.json()


def post_sync(client, **members):
    """Send a sync body with these members; return the response whatever it is."""
    return client.post("/api/v1/sync", {"schema": 1, "device": str(PHONE), **members})


def pulled_records(changes):
    """Return the changes of records alone, without those of what phones only pull, as members and shops."""
    return [one for one in changes if one["type"] in NEW_RECORD]


def verdict_names(answer):
    """Return the verdicts of an answer, without their details."""
    return [verdict["verdict"] for verdict in answer["verdicts"]]
