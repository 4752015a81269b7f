"""What every row of computed figures has beside the figures."""

from django.db import models


class Computed(models.Model):
    """Figures that a job computes, and whether they are behind.

    ``due_revision`` is the team's revision of the last change that bears on the figures; they are stale while it is
    ahead of ``computed_revision``. ``asked_at`` is set while a job has been asked for and has not finished.
    """

    due_revision = models.BigIntegerField(default=0)
    computed_revision = models.BigIntegerField(default=0)
    asked_at = models.DateTimeField(null=True)
    started_at = models.DateTimeField(null=True)
    computed_at = models.DateTimeField(null=True)
    method = models.CharField(max_length=20, blank=True)

    class Meta:
        abstract = True
