"""What slows guessing down: counts of attempts, and the clients that a login is known to use."""

from django.db import models

from teams.models.people import User


class AttemptCount(models.Model):
    """How many attempts there were in a period; the key is a digest and names nobody."""

    key = models.CharField(primary_key=True, max_length=64)
    count = models.IntegerField()
    ends_at = models.DateTimeField(db_index=True)

    class Meta:
        db_table = "teams_tally"

    def __str__(self) -> str:
        return f"{self.count} until {self.ends_at}"


class KnownClient(models.Model):
    """An address, as a digest, from which a login has signed in."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    place = models.CharField(max_length=64)
    last_at = models.DateTimeField(db_index=True)

    class Meta:
        db_table = "teams_knownplace"
        constraints = [models.UniqueConstraint(fields=["user", "place"], name="known_place_once")]

    def __str__(self) -> str:
        return f"{self.user_id} until {self.last_at}"
