"""Fields of answers that the framework does not have."""

from datetime import datetime
from typing import Any

from rest_framework import serializers as s

from lots.schema import format_utc_short


class MomentField(s.DateTimeField):
    """A moment as records have it."""

    def to_representation(self, value: datetime) -> str:
        """Return it in UTC."""
        return format_utc_short(value)


class LimitedFloatField(s.FloatField):
    """A number that is more than ``above``, in steps of ``step``; the schema of the record checks both."""

    def __init__(self, *, above: float | None = None, step: float | None = None, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(**kwargs)
        self.above, self.step = above, step
