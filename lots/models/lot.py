"""A lot of tea."""

from typing import ClassVar

from django.db import models

from lots.models.synced import Synced, schema_constraints
from lots.schema import RecordSchema
from lots.schemas import LOT


class Lot(Synced):
    """One tea from one place, harvest and making, as sampled or as bought."""

    name = models.CharField(max_length=200)
    code = models.CharField(max_length=60, blank=True)
    kind = models.CharField(max_length=10)
    cultivar = models.CharField(max_length=200, blank=True)
    country = models.CharField(max_length=2, blank=True)
    region = models.CharField(max_length=200, blank=True)
    garden = models.CharField(max_length=200, blank=True)
    elevation_low_m = models.FloatField(null=True)
    elevation_high_m = models.FloatField(null=True)
    harvest_year = models.SmallIntegerField(null=True)
    harvest_season = models.CharField(max_length=60, blank=True)
    harvested_on = models.DateField(null=True)
    pick_standard = models.CharField(max_length=200, blank=True)
    form = models.CharField(max_length=10, blank=True)
    oxidation_pct = models.FloatField(null=True)
    roast = models.CharField(max_length=12, blank=True)
    roast_fuel = models.CharField(max_length=60, blank=True)
    roasted_on = models.DateField(null=True)
    producer = models.CharField(max_length=200, blank=True)
    supplier = models.CharField(max_length=200, blank=True)
    status = models.CharField(max_length=8, blank=True)
    price_per_kg = models.DecimalField(max_digits=12, decimal_places=2, null=True)
    currency = models.CharField(max_length=3, blank=True)
    quantity_g = models.FloatField(null=True)
    arrived_on = models.DateField(null=True)
    from_lot = models.ForeignKey("self", on_delete=models.PROTECT, related_name="+", null=True, db_constraint=False)
    remarks = models.CharField(max_length=8000, blank=True)

    schema: ClassVar[RecordSchema] = LOT

    class Meta:
        constraints = schema_constraints(LOT)
        indexes = [models.Index(fields=["team", "name", "id"], name="lot_by_name")]

    def __str__(self) -> str:
        return self.name
