"""The address of the web server: bound before anything else starts, and kept while the server restarts."""

import http.client
import socket
from dataclasses import dataclass

from config.dev.home import LaunchError

USUAL_PORT = 8000


@dataclass(frozen=True, kw_only=True)
class Address:
    """A bound socket of 127.0.0.1; the web server inherits it."""

    bound: socket.socket
    port: int

    @property
    def url(self) -> str:
        """Return the base URL, without a slash at the end."""
        return f"http://127.0.0.1:{self.port}"


def take_address(port: int | None) -> Address:
    """Bind the given port, or 8000, or if that is taken a free one; raise LaunchError if the given one is not free."""
    for candidate in [port] if port is not None else [USUAL_PORT, 0]:
        bound = socket.socket()
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # as web servers do: no wait after a restart
        try:
            bound.bind(("127.0.0.1", candidate))
            bound.listen(1024)
        except OSError as error:
            bound.close()
            if port is not None:
                raise LaunchError(
                    f"Port {port} of 127.0.0.1 cannot be used: {error.strerror}. Choose another PORT."
                ) from error
        else:
            return Address(bound=bound, port=int(bound.getsockname()[1]))
    raise LaunchError("No port of 127.0.0.1 is free.")


def is_found(address: Address, path: str) -> bool:
    """Whether a path of the web server answers 200."""
    connection = http.client.HTTPConnection("127.0.0.1", address.port, timeout=5)
    try:
        connection.request("GET", path)
        return connection.getresponse().status == http.client.OK
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()
