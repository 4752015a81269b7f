"""Links by which someone outside the team reads one lot's report or card."""

import uuid

from django.db import models
from django.db.models import Q

from lots.models import Lot
from teams.models import Team, User


class Share(models.Model):
    """A link. What stands in the address is the id under a signature (`tastings.queries.shares.token_of`).

    The lot is held by a foreign key over team and lot (see the migration).
    """

    class Shows(models.TextChoices):
        """What the link leads to."""

        REPORT = "report"
        CARD = "card"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey(Lot, on_delete=models.DO_NOTHING, related_name="+", db_constraint=False)
    shows = models.CharField(max_length=6, choices=Shows.choices)
    lang = models.CharField(max_length=8)
    names = models.BooleanField(default=False)
    """Whether tasters are named."""
    expires_at = models.DateTimeField()
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", db_index=False)
    kept_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", db_index=False, null=True)
    """The owner who kept it after ``by`` could no longer give links; it opens as long as that owner may."""
    created_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)
    views = models.BigIntegerField(default=0)
    """How often it was read. Nothing is kept of who read it or when."""

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(shows__in=["report", "card"]), name="share_shows_choice"),
            models.CheckConstraint(condition=Q(views__gte=0), name="share_views_count_up"),
        ]

    def __str__(self) -> str:
        return f"{self.shows} of {self.lot_id}"
