"""Descriptors: the vocabulary of notes."""

from typing import ClassVar
from uuid import UUID, uuid5

from django.db import models
from django.db.models import Q

from lots.models import Synced
from lots.models.synced import schema_constraints
from lots.schema import RecordSchema
from tastings.schemas import DESCRIPTOR
from teams.models import Team, User

_NAMESPACE = UUID("0b0f7c56-7a55-5f0e-8f5a-64d0f3c2a917")


class Descriptor(Synced):
    """A descriptor with its family. Built-in ones belong to no team, have no author and are not synced."""

    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+", null=True)  # type: ignore[assignment]  # wider
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True)  # type: ignore[assignment]  # wider
    author = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)  # type: ignore[assignment]  # wider
    key = models.CharField(max_length=60)
    label = models.CharField(max_length=80)
    family = models.CharField(max_length=60, blank=True)
    rated_each_infusion = models.BooleanField(default=False)
    synonyms = models.JSONField(default=list)
    position = models.SmallIntegerField(default=0)
    """Where a built-in one stands in the list."""
    merged_into = models.ForeignKey("self", on_delete=models.PROTECT, related_name="+", null=True)
    """What notes with this key mean once the descriptor is removed."""

    schema: ClassVar[RecordSchema] = DESCRIPTOR

    class Meta:
        constraints = [
            *schema_constraints(DESCRIPTOR),
            models.UniqueConstraint(
                fields=["team", "key"],
                condition=Q(removed=False),
                nulls_distinct=False,
                name="descriptor_key_once_per_team",
            ),
            models.CheckConstraint(
                condition=Q(team=None, by=None, author=None)
                | Q(team__isnull=False, by__isnull=False, author__isnull=False),
                name="descriptor_has_author",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def is_built_in(self) -> bool:
        """Whether it came with Leafspan."""
        return self.team_id is None

    def server_values(self) -> dict[str, object]:
        """Return whether it came with Leafspan."""
        return {"built_in": self.is_built_in}

    @staticmethod
    def built_in_id(key: str) -> UUID:
        """Return the id a built-in descriptor has everywhere."""
        return uuid5(_NAMESPACE, key)
