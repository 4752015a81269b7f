"""Fields of answers that the framework does not have."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from rest_framework import serializers as s

from lots.schema import format_utc_short

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise


class MomentField(s.DateTimeField):
    """A moment as records have it."""

    def to_representation(self, value: datetime) -> str:
        """Return it in UTC."""
        return format_utc_short(value)


class LimitedFloatField(s.FloatField):
    """A number that is more than ``above``, in steps of ``step``; the schema of the record checks both."""

    def __init__(  # noqa: PLR0913 - what the framework's field takes, and two limits
        self,
        *,
        above: float | None = None,
        step: float | None = None,
        min_value: float | None = None,
        max_value: float | None = None,
        required: bool = True,
        allow_null: bool = False,
        help_text: StrOrPromise | None = None,
    ) -> None:
        super().__init__(
            min_value=min_value, max_value=max_value, required=required, allow_null=allow_null, help_text=help_text
        )
        self.above, self.step = above, step
