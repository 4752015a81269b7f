"""A team's logo."""

from django.db import models

from tastings.models.photos import Photo, PhotoContent
from teams.models import Team


class TeamLogo(models.Model):
    """The logo that a team shows beside its name: at most one, with its picture among the team's pictures.

    A new file is in ``upload`` until a worker has checked it; the picture before it is shown until then, and stays if
    the file is refused.
    """

    team = models.OneToOneField(Team, on_delete=models.PROTECT, primary_key=True, related_name="+")
    content = models.ForeignKey(
        PhotoContent, on_delete=models.PROTECT, related_name="logos", null=True, db_constraint=False
    )
    upload = models.UUIDField()
    state = models.CharField(max_length=9, choices=Photo.State.choices)
    reason = models.CharField(max_length=20, default="", blank=True)
    sha256 = models.CharField(max_length=64)
    bytes = models.IntegerField()
    attempts = models.IntegerField(default=0)
    touched_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.team_id} {self.state}"

    @property
    def has_picture(self) -> bool:
        """Whether a file was checked and its picture is shown."""
        return self.content_id is not None
