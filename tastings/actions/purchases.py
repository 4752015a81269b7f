"""The values that a bought lot takes over from its sample."""

from collections.abc import Mapping
from uuid import UUID

_SAMPLES_OWN = ("status", "quantity_g", "price_per_kg", "currency", "arrived_on", "from_lot", "remarks")
"""Fields that a bought lot does not take over."""


def fields_of_bought_lot(sample: UUID, fields: Mapping[str, object]) -> dict[str, object]:
    """Return the first values of a bought lot, given those of its sample."""
    own = {name: value for name, value in fields.items() if value is not None and name not in _SAMPLES_OWN}
    return own | {"status": "bought", "from_lot": str(sample)}
