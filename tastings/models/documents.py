"""Rendered documents, one for each digest of what decides their bytes."""

import uuid

from django.db import models
from django.db.models import Q

from teams.models import Team


class RenderedDocument(models.Model):
    """A report or a card as a file.

    ``digest`` is of everything that decides its bytes. ``payload`` is what the layout reads; it is cleared once the
    file is there.
    """

    class Form(models.TextChoices):
        """What kind of file it is."""

        PDF = "pdf"
        PNG = "png"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+", db_index=False)
    digest = models.CharField(max_length=64)
    layout = models.CharField(max_length=20)
    form = models.CharField(max_length=3, choices=Form.choices)
    payload = models.JSONField(null=True, db_column="told")
    content = models.BinaryField(null=True)
    asked_at = models.DateTimeField()
    made_at = models.DateTimeField(null=True)
    used_on = models.DateField()
    failure = models.CharField(max_length=500, blank=True)
    """Why it could not be rendered; empty when it was."""

    class Meta:
        db_table = "tastings_paper"
        constraints = [
            models.UniqueConstraint(fields=["team", "digest"], name="paper_once_per_team"),
            models.CheckConstraint(condition=Q(digest__regex="^[0-9a-f]{64}$"), name="paper_digest_form"),
            models.CheckConstraint(condition=Q(form__in=["pdf", "png"]), name="paper_form_choice"),
            models.CheckConstraint(
                condition=Q(content=None, made_at=None) | Q(content__isnull=False, made_at__isnull=False, failure=""),
                name="paper_made_or_not",
            ),
        ]
        indexes = [models.Index(fields=["team", "used_on"], name="paper_by_use")]

    def __str__(self) -> str:
        return f"{self.layout}.{self.form} {self.digest[:12]}"
