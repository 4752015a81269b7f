"""Fields of answers that the framework does not have."""

from datetime import datetime

from rest_framework import serializers as s

from lots.schema import format_utc_short


class MomentField(s.DateTimeField):
    """A moment as records have it."""

    def to_representation(self, value: datetime) -> str:
        """Return it in UTC."""
        return format_utc_short(value)
