"""What can go wrong on a phone."""

from collections.abc import Mapping


class PhoneError(Exception):
    """Any failure that a phone reports to the person using it."""


class UnreachableError(PhoneError):
    """No answer: no network, no server, or a broken connection. The request may or may not have arrived."""


class RefusedError(PhoneError):
    """The server answered with a problem document (RFC 9457), or with something else that is not JSON.

    ``status`` is the HTTP status, ``problem`` the document, empty if there was none.
    """

    def __init__(self, detail: str, *, status: int, problem: Mapping[str, object] | None = None) -> None:
        super().__init__(detail)
        self.status = status
        self.problem = problem or {}

    @property
    def starts_again(self) -> bool:
        """Whether the phone has to pull everything anew."""
        return self.status == 410 and str(self.problem.get("type", "")).endswith("/problems/start-again")


class SignedOutError(RefusedError):
    """The token has expired, was revoked, or is missing. Unsent changes are kept."""


class StoreError(PhoneError):
    """The journal cannot be read or written, or another process uses it."""
