"""The pots on a team's shelves."""

from typing import ClassVar

from django.db import models

from lots.models import Synced
from lots.models.synced import schema_constraints
from lots.schema import RecordSchema
from tastings.schemas import POT
from teams.models import Shop


class Pot(Synced):
    """A vessel that a team brews in, with the leaf and the pour that are usual in it."""

    name = models.CharField(max_length=80)
    vessel_ml = models.FloatField()
    vessel_material = models.CharField(max_length=20)
    vessel_g = models.FloatField(null=True)
    leaf_g = models.FloatField(null=True)
    pour_s = models.FloatField(null=True)
    shop = models.ForeignKey(
        Shop, on_delete=models.PROTECT, related_name="+", null=True, db_index=False, db_constraint=False
    )
    retired = models.BooleanField(default=False)

    schema: ClassVar[RecordSchema] = POT

    class Meta:
        constraints = schema_constraints(POT)

    def __str__(self) -> str:
        return self.name
