"""What an action may answer instead of a result; the API turns each into a problem document.

Refused
├── NotHere          absent, or another team's: the caller cannot tell which
├── NotAllowed       the member's role does not reach this far
├── NotSignedIn      wrong name or password, or a token that has ended
├── Invalid          some fields are not valid
├── Changed          the record is no longer what the caller last saw
├── StartAgain       the caller's cursor is older than the deletions still known
└── NotServed        this entry of the server cannot do it
"""

from collections.abc import Sequence
from dataclasses import dataclass


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
    title = "Refused"

    def __init__(self, detail: str = "", *, problems: Sequence[Problem] = ()) -> None:
        super().__init__(detail or self.title)
        self.detail = detail or self.title
        self.problems = tuple(problems)


class NotHere(Refused):
    """There is no such thing in this team."""

    status = 404
    code = "not_here"
    title = "There is no such thing here"


class NotAllowed(Refused):
    """The member's role does not allow this."""

    status = 403
    code = "not_allowed"
    title = "Your role does not allow this"


class NotSignedIn(Refused):
    """No valid sign-in came with the request."""

    status = 401
    code = "not_signed_in"
    title = "Sign in first"


class Invalid(Refused):
    """Some fields are not valid; ``problems`` names each."""

    status = 422
    code = "invalid"
    title = "Some fields are not valid"


class Changed(Refused):
    """If-Match named a revision that is no longer current."""

    status = 412
    code = "changed"
    title = "The record has changed since you read it"


class StartAgain(Refused):
    """Deletions after this cursor may no longer be known: nothing was applied, pull again from cursor 0."""

    status = 410
    code = "start_again"
    title = "This cursor is too old: pull again from cursor 0, and keep what is not sent yet"


class NotServed(Refused):
    """The web server was started without what this needs."""

    status = 501
    code = "not_served"
    title = "This server was started without live events"
