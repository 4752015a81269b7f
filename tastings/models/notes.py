"""What was smelled, tasted or felt."""

from typing import ClassVar

from django.db import models

from lots.models import Synced
from lots.models.synced import schema_constraints, tombstone_index
from lots.schema import Field, RecordSchema
from tastings.models.descriptors import Descriptor
from tastings.models.sessions import Infusion, Session
from tastings.schemas import NOTE


class Note(Synced):
    """What was noticed at one moment: a descriptor, with how strong it was if that was rated, or words alone."""

    session = models.ForeignKey(Session, on_delete=models.PROTECT, related_name="notes", db_constraint=False)
    infusion = models.ForeignKey(
        Infusion, on_delete=models.PROTECT, related_name="notes", null=True, db_constraint=False
    )
    moment = models.CharField(max_length=12)
    descriptor = models.ForeignKey(Descriptor, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    intensity = models.DecimalField(max_digits=3, decimal_places=1, null=True)
    text = models.CharField(max_length=8000, blank=True)

    schema: ClassVar[RecordSchema] = NOTE

    class Meta:
        constraints = schema_constraints(NOTE)
        indexes = [tombstone_index(NOTE)]

    def __str__(self) -> str:
        return f"{self.moment}: {self.descriptor_id}"

    def wire_value(self, field: Field) -> object:
        """Return one field as it travels: the descriptor by its key."""
        if field.name != "descriptor":
            return super().wire_value(field)
        return None if self.descriptor is None else self.descriptor.key
