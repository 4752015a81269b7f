"""Blind flights: candidates, who tastes and who pours, and the coded cups.

Which cup holds which lot stands in one column, `FlightCup.lot`. A blind session has no lot at all until the reveal
writes it, so nothing that is made from sessions can give it away.
"""

import uuid

from django.db import models
from django.db.models import Q

from lots.models import Lot
from teams.models import PullOnly, Team, User


class Flight(PullOnly):
    """Samples tasted under codes, to choose from. Ids are made by the client.

    Plan and answer are made by jobs: ``…_wanted`` counts what was asked for, ``…_made`` what was done.
    """

    class State(models.TextChoices):
        """How far a flight has come."""

        SET_UP = "set_up"
        TASTING = "tasting"
        REVEALED = "revealed"
        DECIDED = "decided"
        CALLED_OFF = "called_off"

    id = models.UUIDField(primary_key=True, editable=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=200)
    state = models.CharField(max_length=10, default=State.SET_UP, choices=State.choices)
    protocol = models.CharField(max_length=20)
    infusions = models.SmallIntegerField(null=True)
    cups_per_sitting = models.SmallIntegerField()
    sittings = models.SmallIntegerField(default=1)
    repeats = models.SmallIntegerField(default=0)
    reference = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+", null=True, db_constraint=False)
    expected_order = models.JSONField(default=list)
    weights = models.JSONField(default=dict)
    """Percentages by factor, adding up to 100; empty when cups are judged by liking alone."""
    weights_for = models.CharField(max_length=10, blank=True)
    """The tea class whose preset the weights are; empty when the team set its own."""
    remarks = models.CharField(max_length=8000, blank=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", db_index=False)
    created_at = models.DateTimeField()

    seed = models.BigIntegerField()
    """Seed of the plan, drawn at random: never shown, since the plan follows from it."""
    plan_wanted = models.IntegerField(default=0)
    plan_made = models.IntegerField(default=0)
    plan_asked_at = models.DateTimeField(null=True)
    plan_progress = models.FloatField(default=0.0)
    """Of the plan that is being made: 0 to 1."""
    plan_failure = models.CharField(max_length=500, blank=True)
    plan = models.JSONField(null=True)
    """How good the plan is; not which cup holds what."""

    revealed_at = models.DateTimeField(null=True)
    revealed_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    reveal_reason = models.CharField(max_length=2000, blank=True)
    """Why it was revealed before every cup was tasted; empty when all were."""
    counted = models.JSONField(null=True)
    """What counts of its scores, frozen by the reveal, and what was admitted since; see `queries.flight_scores`."""
    answer_wanted = models.IntegerField(default=0)
    answer_made = models.IntegerField(default=0)
    answer_asked_at = models.DateTimeField(null=True)
    answered_at = models.DateTimeField(null=True)
    answer_failure = models.CharField(max_length=500, blank=True)
    answer = models.JSONField(null=True)

    decided_at = models.DateTimeField(null=True)
    decided_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    decision = models.JSONField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["team", "id"], name="flight_of_team"),
            models.UniqueConstraint(fields=["team", "revision"], name="flight_revision_once"),
            models.CheckConstraint(condition=~Q(name=""), name="flight_name_given"),
            models.CheckConstraint(
                condition=Q(state__in=["set_up", "tasting", "called_off"], revealed_at=None)
                | Q(state__in=["revealed", "decided"], revealed_at__isnull=False),
                name="flight_revealed_has_moment",
            ),
            models.CheckConstraint(
                condition=Q(cups_per_sitting__gte=1, cups_per_sitting__lte=40, sittings__gte=1, sittings__lte=20),
                name="flight_sizes",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_blind(self) -> bool:
        """Whether codes must still not meet names."""
        return self.state in (self.State.SET_UP, self.State.TASTING)


class FlightLot(models.Model):
    """A candidate; one taken out, such as a spilled sample, keeps its row."""

    flight = models.ForeignKey(Flight, on_delete=models.CASCADE, related_name="candidates", db_constraint=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+", db_index=False)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+", db_constraint=False)
    out_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["flight", "lot"], name="flight_lot_once")]

    def __str__(self) -> str:
        return f"{self.lot_id}"


class FlightMember(models.Model):
    """Someone who tastes in a flight or pours for it, never both; one who dropped out keeps the row."""

    flight = models.ForeignKey(Flight, on_delete=models.CASCADE, related_name="people", db_constraint=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+", db_index=False)
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    pours = models.BooleanField()
    out_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["flight", "user"], name="flight_member_once")]

    def __str__(self) -> str:
        return f"{self.user_id} {'pours' if self.pours else 'tastes'}"


class FlightCup(models.Model):
    """One coded cup for one taster. One that a new plan left out keeps its row and its code."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    """Drawn at random: an id in the order of making would give away the order of lots."""
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+", db_index=False)
    flight = models.ForeignKey(Flight, on_delete=models.CASCADE, related_name="cups", db_constraint=False)
    taster = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    sitting = models.SmallIntegerField()
    position = models.SmallIntegerField()
    code = models.SmallIntegerField()
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+", db_index=False, db_constraint=False)
    out_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["team", "id"], name="flight_cup_of_team"),
            models.UniqueConstraint(fields=["id", "lot"], name="flight_cup_holds"),
            models.UniqueConstraint(fields=["flight", "code"], name="flight_cup_code_once"),
            models.UniqueConstraint(
                fields=["flight", "taster", "sitting", "position"],
                condition=Q(out_at=None),
                name="flight_cup_place_once",
            ),
            models.CheckConstraint(condition=Q(code__gte=100, code__lte=999), name="flight_cup_code_three_digits"),
        ]

    def __str__(self) -> str:
        return str(self.code)
