"""Forgotten passwords: the requests, the one-time links that were mailed, and the addresses that are verified."""

import uuid

from django.db import models

from teams.models.people import User


class ResetRequest(models.Model):
    """A request for mail, stored for any name; a worker looks up the login."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    asked = models.CharField(max_length=254)
    """A user name or an e-mail address."""
    site = models.CharField(max_length=200)
    """Scheme and host of the mailed link."""
    language = models.CharField(max_length=8, default="")
    """The language of the request, for a login that has chosen none."""
    created_at = models.DateTimeField(db_index=True)
    claimed_at = models.DateTimeField(null=True, blank=True)
    """When a worker last started on it."""
    handled_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"asked at {self.created_at}"


class ResetLink(models.Model):
    """A one-time link that sets a login's password. Only the SHA-256 of its token is stored."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(db_index=True)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"of {self.user_id} until {self.expires_at}"


class EmailVerification(models.Model):
    """A request for mail by which a login verifies its address. The link holds the id under a signature."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    email = models.EmailField(blank=True)
    """The address to verify; empty when it was removed."""
    former = models.EmailField(blank=True)
    """The verified address before, which is told of the change."""
    site = models.CharField(max_length=200)
    language = models.CharField(max_length=8)
    created_at = models.DateTimeField(db_index=True)
    claimed_at = models.DateTimeField(null=True)
    handled_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"of {self.user_id} at {self.created_at}"
