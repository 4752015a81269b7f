"""Photos of leaf and liquor, and the pictures stored of them."""

import uuid

from django.db import models
from django.db.models import F, Q

from lots.models import Lot
from tastings.models.sessions import Infusion, Session
from tastings.schemas import LARGEST_PHOTO, MOST_PIXELS, PHOTO_OF
from teams.models import PullOnly, Team, User

_DIGEST = "^[0-9a-f]{64}$"


class PhotoContent(models.Model):
    """A picture, stored once per team and SHA-256 of the file it came in.

    Never shared between teams, so that the speed of an upload reveals nothing about another team.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+", db_index=False)
    sha256 = models.CharField(max_length=64)
    bytes = models.IntegerField()
    width = models.IntegerField()
    height = models.IntegerField()
    image_sha256 = models.CharField(max_length=64)
    """Of the JPEG that is stored and served."""
    thumbnail_sha256 = models.CharField(max_length=64)
    created_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["team", "sha256"], name="photo_content_once_per_team"),
            models.UniqueConstraint(fields=["team", "id", "sha256"], name="photo_content_of_team"),
            models.UniqueConstraint(fields=["team", "id"], name="photo_content_id_of_team"),
            models.CheckConstraint(condition=Q(sha256__regex=_DIGEST), name="photo_content_sha256_form"),
            models.CheckConstraint(
                condition=Q(image_sha256__regex=_DIGEST, thumbnail_sha256__regex=_DIGEST),
                name="photo_content_digests_form",
            ),
            models.CheckConstraint(condition=Q(bytes__gte=1, bytes__lte=LARGEST_PHOTO), name="photo_content_bytes"),
            models.CheckConstraint(
                condition=Q(width__gte=1, height__gte=1, width__lte=MOST_PIXELS / F("height")),
                name="photo_content_pixels",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sha256[:12]} {self.width} x {self.height}"


class Photo(PullOnly):
    """A photo of one session or of one lot. Ids are made by the client.

    ``receiving`` while bytes are missing, ``checking`` once all are there, then ``kept`` or ``refused`` with a reason.
    A removed photo keeps its row and lets go of its picture.

    Its session, lot and infusion are held by foreign keys over two columns (see the migration); when one is forgotten
    for good, the database takes its photos along.
    """

    class State(models.TextChoices):
        """How far a photo has come."""

        RECEIVING = "receiving"
        CHECKING = "checking"
        STORED = "kept", "Kept"
        REFUSED = "refused"

    id = models.UUIDField(primary_key=True, editable=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey(Lot, on_delete=models.DO_NOTHING, related_name="+", null=True, db_constraint=False)
    session = models.ForeignKey(Session, on_delete=models.DO_NOTHING, related_name="+", null=True, db_constraint=False)
    infusion = models.ForeignKey(
        Infusion, on_delete=models.DO_NOTHING, related_name="+", null=True, db_constraint=False
    )
    of = models.CharField(max_length=10)
    sha256 = models.CharField(max_length=64)
    bytes = models.IntegerField()
    taken_at = models.DateTimeField(null=True)
    received = models.IntegerField(default=0)
    state = models.CharField(max_length=9, default=State.RECEIVING, choices=State.choices)
    reason = models.CharField(max_length=40, blank=True)
    content = models.ForeignKey(
        PhotoContent, on_delete=models.DO_NOTHING, related_name="photos", null=True, db_constraint=False
    )
    colour = models.JSONField(null=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", db_index=False)
    created_at = models.DateTimeField()
    touched_at = models.DateTimeField()
    """When bytes last came in, or the worker was last asked."""
    attempts = models.SmallIntegerField(default=0)
    """How often a worker began to check it."""
    removed_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["team", "revision"], name="photo_revision_once"),
            models.CheckConstraint(
                condition=Q(lot=None, session__isnull=False) | Q(lot__isnull=False, session=None),
                name="photo_of_session_or_lot",
            ),
            models.CheckConstraint(
                condition=Q(infusion=None) | Q(session__isnull=False), name="photo_infusion_in_session"
            ),
            models.CheckConstraint(condition=Q(of__in=PHOTO_OF), name="photo_of_choice"),
            models.CheckConstraint(condition=Q(sha256__regex=_DIGEST), name="photo_sha256_form"),
            models.CheckConstraint(condition=Q(bytes__gte=1, bytes__lte=LARGEST_PHOTO), name="photo_bytes_range"),
            models.CheckConstraint(condition=Q(received__gte=0, received__lte=F("bytes")), name="photo_received_range"),
            models.CheckConstraint(
                condition=Q(state__in=["receiving", "checking", "kept", "refused"]), name="photo_state_choice"
            ),
            models.CheckConstraint(
                condition=Q(state="refused") & ~Q(reason="") | ~Q(state="refused") & Q(reason=""),
                name="photo_refused_for_a_reason",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["checking", "kept"]) | Q(received=F("bytes")),
                name="photo_complete_before_check",
            ),
            models.CheckConstraint(
                condition=Q(state="kept", removed_at=None, content__isnull=False)
                | (~Q(state="kept") | Q(removed_at__isnull=False)) & Q(content=None),
                name="photo_kept_has_content",
            ),
            models.CheckConstraint(condition=Q(colour=None) | Q(state="kept"), name="photo_colour_of_kept"),
        ]
        indexes = [
            models.Index(
                fields=["touched_at"], name="photo_under_way", condition=Q(state__in=["receiving", "checking"])
            )
        ]

    def __str__(self) -> str:
        return f"{self.of} ({self.state})"
