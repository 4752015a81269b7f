"""Answers to HEAD: the head alone, with the ``Content-Length`` and ``ETag`` that the answer to GET has.

Django writes the body as for GET. The server would drop its bytes and log each as an error of the application.
"""

from a2wsgi.asgi_typing import Send, SendEvent


def without_body(send: Send) -> Send:
    """Return what passes an answer on to ``send`` without the bytes of its body."""

    async def send_head(message: SendEvent) -> None:
        if message["type"] == "http.response.body":
            await send({"type": "http.response.body", "body": b"", "more_body": message.get("more_body", False)})
        else:
            await send(message)

    return send_head
