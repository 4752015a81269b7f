"""What a bought lot takes over from the sample it was chosen by."""

from collections.abc import Mapping
from uuid import UUID

_SAMPLES_OWN = ("status", "quantity_g", "price_per_kg", "currency", "arrived_on", "from_lot", "remarks")
"""What it does not take over."""


def fields_of_bought_lot(sample: UUID, fields: Mapping[str, object]) -> dict[str, object]:
    """Return the fields with which the lot bought from a sample begins, given the sample's."""
    own = {name: value for name, value in fields.items() if value is not None and name not in _SAMPLES_OWN}
    return own | {"status": "bought", "from_lot": str(sample)}
