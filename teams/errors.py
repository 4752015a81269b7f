"""Refusals: what an action raises instead of returning a result; the API turns each into a problem document.

What else may be refused about tastings: `tastings.errors`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from math import ceil
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong: which field, a stable code, and a sentence for people."""

    field: str
    code: str
    detail: str

    def as_json(self) -> dict[str, str]:
        """Return the wire form."""
        return {"field": self.field, "code": self.code, "detail": self.detail}


class Refused(Exception):  # noqa: N818 - reads as what happened
    """Base of all refusals."""

    status = 400
    code = "refused"
    title: StrOrPromise = gettext_lazy("Refused")
    wait_s: int | None = None
    """When to send the request again, if that is known [s]."""

    def __init__(self, detail: str = "", *, problems: Sequence[Problem] = ()) -> None:
        self.detail = detail or str(self.title)
        super().__init__(self.detail)
        self.problems = tuple(problems)

    @property
    def reasons(self) -> str:
        """What is wrong with each field, else the refusal as a whole; for a command line."""
        return "; ".join(f"{problem.field}: {problem.detail}" for problem in self.problems) or self.detail


class NotFound(Refused):
    """There is no such thing in this team."""

    status = 404
    code = "not_here"
    title = gettext_lazy("There is no such thing here")


class NotAllowed(Refused):
    """The member's role does not allow this."""

    status = 403
    code = "not_allowed"
    title = gettext_lazy("Your role does not allow this")


class NotSignedIn(Refused):
    """No valid sign-in came with the request."""

    status = 401
    code = "not_signed_in"
    title = gettext_lazy("Sign in first")


class Invalid(Refused):
    """Some fields are not valid; ``problems`` names each."""

    status = 422
    code = "invalid"
    title = gettext_lazy("Some fields are not valid")


class PreconditionFailed(Refused):
    """If-Match named a revision that is no longer current."""

    status = 412
    code = "changed"
    title = gettext_lazy("The record has changed since you read it")


class StartAgain(Refused):
    """A cursor that cannot be used: nothing was applied, pull again from cursor 0.

    Deletions after it may be forgotten, it is another team's, or it is ahead of the team since an older backup was
    restored. The second and the third look alike to the server.
    """

    status = 410
    code = "start_again"
    title = gettext_lazy("This cursor cannot be used here: pull again from cursor 0, and keep what is not sent yet")


class Throttled(Refused):
    """Too many attempts from there; ``wait_s`` says after how many seconds the next one is checked, at least 1."""

    status = 429
    code = "throttled"
    title = gettext_lazy("Too many attempts")

    def __init__(self, *, wait: timedelta) -> None:
        self.wait_s: int = max(1, ceil(wait.total_seconds()))
        super().__init__(_("try again in %(seconds)s s") % {"seconds": self.wait_s})
