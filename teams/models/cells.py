"""Where a team lives, if not here."""

from django.db import models


class MovedTeam(models.Model):
    """A team that lives in another cell: what this database holds of it is a copy, on its way here or left behind.

    A team without such a row lives here. So one commit in the cell that a team leaves decides where it lives.
    """

    team = models.UUIDField(primary_key=True, db_column="team_id")
    """Not a foreign key: the entry outlives the copy."""
    cell = models.CharField(max_length=40)
    since = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"{self.team} in {self.cell}"
