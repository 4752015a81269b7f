"""Security headers of every answer, unless the view has set them."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase

DENY_ALL_CSP = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
"""For JSON, pictures and files, which are not pages: nothing is loaded or run, wherever they are opened."""
HEADERS = {
    "Content-Security-Policy": DENY_ALL_CSP,
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}


class SecurityHeadersMiddleware:
    """Adds the headers; Django's own middleware adds the rest (sniffing, framing, referrer, opener, transport)."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        response = self.get_response(request)
        for name, value in HEADERS.items():
            response.setdefault(name, value)
        return response
