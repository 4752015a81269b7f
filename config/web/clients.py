"""Which login a token or browser session belongs to, as earlier answers have said.

Somebody who invents tokens gets no share of the threads for each: a token that no answer has named counts by address.
"""

from collections import OrderedDict

from a2wsgi.asgi_typing import Send, SendEvent

from api.http.auth import LOGIN_HEADER

_HEADER = LOGIN_HEADER.lower().encode()
_MOST = 10_000


class KnownClients:
    """The clients of one process."""

    def __init__(self) -> None:
        self._logins: OrderedDict[str, str] = OrderedDict()

    def login_of(self, credential: str) -> str | None:
        """Return the login of a token or session; None while no answer has named it."""
        if credential in self._logins:
            self._logins.move_to_end(credential)
        return self._logins.get(credential)

    def watching(self, credential: str, send: Send) -> Send:
        """Return ``send``, which notes the login that an answer names, and leaves that header out."""

        async def watched(message: SendEvent) -> None:
            if message["type"] == "http.response.start":
                login = next((value for name, value in message["headers"] if name.lower() == _HEADER), None)
                if login is not None:
                    self._note(credential, login.decode())
                    headers = [(name, value) for name, value in message["headers"] if name.lower() != _HEADER]
                    message = {**message, "headers": headers}
            await send(message)

        return watched

    def _note(self, credential: str, login: str) -> None:
        self._logins[credential] = login
        self._logins.move_to_end(credential)
        if len(self._logins) > _MOST:
            self._logins.popitem(last=False)
