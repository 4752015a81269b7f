"""What can go wrong on a phone.

::

    PhoneError
    ├── UnreachableError     no answer came
    ├── RefusedError         an answer came and it was no
    │   └── SignedOutError   401: sign in first
    └── StoreError           the phone's own disk
"""

from collections.abc import Mapping


class PhoneError(Exception):
    """Whatever a phone may have to tell its owner."""


class UnreachableError(PhoneError):
    """No answer: no network, no server, or one that broke off. What was sent may or may not have arrived."""


class RefusedError(PhoneError):
    """The server answered with a problem document (RFC 9457), or with something that is no answer of Leafspan's.

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
    """The token has ended, was taken back, or was never there. What is unsent is kept."""


class StoreError(PhoneError):
    """The journal cannot be read or written, or another process has it."""
