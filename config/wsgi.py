"""Django as a WSGI application; `config.asgi` serves it beside the live events."""

import os
from collections.abc import Callable, Iterable
from io import BytesIO
from typing import Any

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

LARGEST_CHUNKED = 4 * 1024 * 1024

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
_django = get_wsgi_application()
get_resolver().url_patterns  # noqa: B018 - loads every view now, or the first phone would wait for it


def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """Serve one request; a body sent in chunks gets the length that Django asks for."""
    if not environ.get("CONTENT_LENGTH") and "chunked" in environ.get("HTTP_TRANSFER_ENCODING", ""):
        body = environ["wsgi.input"].read(LARGEST_CHUNKED + 1)  # one byte too many is refused by its size
        environ |= {"wsgi.input": BytesIO(body), "CONTENT_LENGTH": str(len(body))}
    return _django(environ, start_response)
