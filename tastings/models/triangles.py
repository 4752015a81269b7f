"""Triangle tests: three cups, two of them the same tea."""

from django.db import models
from django.db.models import F, Q

from lots.models import Lot
from tastings.schemas import MOST_ANSWERS_EACH
from teams.models import Team, User


class TriangleTest(models.Model):
    """One test of one lot against another. Ids are made by the client."""

    id = models.UUIDField(primary_key=True, editable=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+", db_constraint=False)
    against = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+", db_constraint=False)
    held_on = models.DateField()
    alpha = models.FloatField(default=0.05)
    distinguishers = models.FloatField(default=0.3)
    remarks = models.CharField(max_length=8000, blank=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", db_index=False)
    created_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(alpha__gt=0, alpha__lte=0.5), name="triangle_alpha_range"),
            models.CheckConstraint(
                condition=Q(distinguishers__gt=0, distinguishers__lte=1), name="triangle_distinguishers_range"
            ),
            models.CheckConstraint(condition=~Q(lot=F("against")), name="triangle_of_two_lots"),
            models.UniqueConstraint(fields=["team", "id"], name="triangle_test_of_team"),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} against {self.against_id}"


class TriangleTaster(models.Model):
    """Someone who is to taste in a test, and how many answers they are to give."""

    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+", db_index=False)
    test = models.ForeignKey(TriangleTest, on_delete=models.CASCADE, related_name="tasters", db_constraint=False)
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    answers = models.SmallIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["team", "test", "user"], name="triangle_taster_once"),
            models.CheckConstraint(
                condition=Q(answers__gte=1, answers__lte=MOST_ANSWERS_EACH), name="triangle_taster_answers"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user_id}: {self.answers}"


class Trial(models.Model):
    """One person's answer. A withdrawn one stays on record and does not count."""

    id = models.UUIDField(primary_key=True, editable=False)
    test = models.ForeignKey(TriangleTest, on_delete=models.PROTECT, related_name="trials")
    taster = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True)
    correct = models.BooleanField()
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", db_index=False)
    created_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"{'right' if self.correct else 'wrong'} answer"
