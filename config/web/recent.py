"""Which clients have just had a large answer to a sync: they are at a first load, which comes page after page."""

import time
from collections import OrderedDict

from a2wsgi.asgi_typing import Send, SendEvent

LARGE_BYTES = 64 * 1024
"""Size from which an answer counts as large: about 150 records. [bytes]"""
LASTS_S = 10.0
_MOST = 10_000


class RecentlyLarge:
    """Clients with a large answer in the last `LASTS_S` seconds."""

    def __init__(self) -> None:
        self._until: OrderedDict[str, float] = OrderedDict()

    def has(self, client: str) -> bool:
        """Whether the client had one."""
        return self._until.get(client, 0.0) > time.monotonic()

    def watching(self, client: str, send: Send) -> Send:
        """Return ``send``, which notes how large the answer of this client is."""
        size = 0

        async def watched(message: SendEvent) -> None:
            nonlocal size
            if message["type"] == "http.response.body":
                size += len(message.get("body", b""))
                if not message.get("more_body"):
                    self._note(client, size)
            await send(message)

        return watched

    def _note(self, client: str, size: int) -> None:
        self._until.pop(client, None)
        if size > LARGE_BYTES:
            self._until[client] = time.monotonic() + LASTS_S
            if len(self._until) > _MOST:
                self._until.popitem(last=False)
