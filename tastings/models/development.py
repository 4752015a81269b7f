"""The stored answer to how a lot's flavour develops."""

from django.db import models
from django.db.models import F, Q

from lots.models import Lot
from tastings.models.computed import Computed
from teams.models import Team


class Development(Computed):
    """One lot's figures, and whether they are behind."""

    lot = models.OneToOneField(Lot, on_delete=models.CASCADE, primary_key=True, related_name="development")
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+")
    result = models.JSONField(null=True)
    tasted = models.JSONField(default=list)
    """The ratings behind the curves as corrected to the even brew, for drawing."""
    line_evidence = models.JSONField(default=list)
    """What the lot's endings say about the finish line; see `tastings.maths.curve.endings.line_log_likelihood`."""
    slope_evidence = models.JSONField(default=dict)
    """What its ratings say about fatigue; see `tastings.maths.curve.order_slope.SlopeEvidence`, by descriptor."""
    panel_version = models.IntegerField(default=0)
    """Which of the team's calibrations the figures were made with."""
    failure = models.CharField(max_length=500, blank=True)
    """Why the last attempt gave nothing; empty when it did."""

    class Meta:
        indexes = [
            models.Index(
                fields=["team", "due_revision"],
                condition=Q(due_revision__gt=F("computed_revision")),
                name="development_edited",
            ),
            models.Index(fields=["team", "asked_at"], condition=Q(asked_at__isnull=False), name="development_asked"),
        ]

    def __str__(self) -> str:
        return f"development of {self.lot_id}"

    @property
    def up_to_date(self) -> bool:
        """Whether the last change has been worked on."""
        return self.due_revision <= self.computed_revision

    def due_for(self, *, method: str, panel_version: int) -> bool:
        """Whether there is something to compute: a change, a newer method, or a newer calibration of the team."""
        return not self.up_to_date or (self.method, self.panel_version) != (method, panel_version)

    @property
    def stale(self) -> bool:
        """Whether a change is not in the figures: not yet, or because the attempt failed."""
        return not self.up_to_date or bool(self.failure)
