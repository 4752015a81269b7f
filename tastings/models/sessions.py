"""A session: one taster, one lot, one pot; and the infusions poured from it."""

from typing import ClassVar
from uuid import UUID

from django.db import models
from django.db.models import Q

from lots.models import Lot, Synced
from lots.models.synced import schema_constraints, tombstone_index
from lots.schema import RecordSchema
from tastings.models.flights import FlightCup
from tastings.models.pots import Pot
from tastings.schemas import INFUSION, SESSION
from teams.models import Shop, User


class Session(Synced):
    """One pot of one lot, brewed again and again by one taster."""

    lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, related_name="+", null=True, db_index=False, db_constraint=False
    )
    """Empty while it is tasted blind."""
    flight_cup = models.ForeignKey(
        FlightCup, on_delete=models.PROTECT, related_name="sessions", null=True, db_constraint=False
    )
    shop = models.ForeignKey(
        Shop, on_delete=models.PROTECT, related_name="+", null=True, db_index=False, db_constraint=False
    )
    taster = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    author = None  # type: ignore[assignment]  # who made a session is its taster
    started_at = models.DateTimeField()
    leaf_g = models.FloatField()
    vessel_ml = models.FloatField()
    vessel_material = models.CharField(max_length=20, blank=True)
    vessel_g = models.FloatField(null=True)
    warmed = models.BooleanField(null=True)
    room_c = models.FloatField(null=True)
    water = models.CharField(max_length=200, blank=True)
    water_tds_mg_l = models.FloatField(null=True)
    altitude_m = models.FloatField(null=True)
    pot = models.ForeignKey(
        Pot, on_delete=models.PROTECT, related_name="+", null=True, db_index=False, db_constraint=False
    )
    purpose = models.CharField(max_length=10, blank=True)
    ending = models.CharField(max_length=8, blank=True)
    more_low = models.SmallIntegerField(null=True)
    more_high = models.SmallIntegerField(null=True)
    private = models.BooleanField(default=False)
    shared_once = models.BooleanField(default=False)
    """Whether others ever could see it: if so, turning it private must reach their phones as a deletion."""
    remarks = models.CharField(max_length=8000, blank=True)

    schema: ClassVar[RecordSchema] = SESSION

    class Meta:
        constraints = [
            *schema_constraints(SESSION),
            models.CheckConstraint(
                condition=Q(private=True) | Q(lot=None) | Q(shared_once=True), name="session_open_is_shared"
            ),
            models.CheckConstraint(
                condition=Q(lot__isnull=False) | Q(flight_cup__isnull=False), name="session_of_lot_or_cup"
            ),
        ]
        indexes = [models.Index(fields=["lot", "-started_at"], name="session_of_lot"), tombstone_index(SESSION)]

    def __str__(self) -> str:
        return f"{self.lot_id or 'blind'} {self.started_at:%Y-%m-%d}"

    @property
    def author_id(self) -> UUID:  # type: ignore[override]  # of the others a column
        """Who made it: its taster."""
        return self.taster_id

    def server_values(self) -> dict[str, object]:
        """Return who tasted."""
        return {"taster": str(self.taster_id)}


class Infusion(Synced):
    """One pour of a session; number 0 is the rinse. A session has one live infusion of a number."""

    session = models.ForeignKey(Session, on_delete=models.PROTECT, related_name="infusions", db_constraint=False)
    number = models.SmallIntegerField()
    steep_s = models.FloatField()
    pour_s = models.FloatField(null=True)
    kettle_c = models.FloatField(null=True)
    water_ml = models.FloatField(null=True)
    rest_s = models.FloatField(null=True)
    poured_at = models.DateTimeField(null=True)
    tasted = models.BooleanField(null=True)
    remarks = models.CharField(max_length=8000, blank=True)

    schema: ClassVar[RecordSchema] = INFUSION

    class Meta:
        # one live number per session: a deferred exclusion constraint, since phones renumber in one go; see migrations
        constraints = [
            *schema_constraints(INFUSION),
            models.UniqueConstraint(fields=["id", "session"], name="infusion_of_session"),
        ]
        indexes = [tombstone_index(INFUSION)]

    def __str__(self) -> str:
        return f"infusion {self.number}"
