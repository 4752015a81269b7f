"""Security headers of every answer, unless the view has set them."""

from django.http import HttpRequest, HttpResponseBase

from api.http.middleware import Middleware

DENY_ALL_CSP = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
"""For pictures and files, which are not pages: nothing is loaded or run, wherever they are opened."""
HEADERS = {
    "Content-Security-Policy": DENY_ALL_CSP,
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}
JSON_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
}
"""For JSON, which no browser renders: a phone gets them with every tap. So they are few."""
PAGES_ONLY = ("Cross-Origin-Opener-Policy", "Permissions-Policy", "Referrer-Policy", "X-Frame-Options")
"""Headers left out of JSON; `frame-ancestors` says the same as the last one."""
JSON_TYPES = ("application/json", "application/problem+json", "application/x-ndjson")


class SecurityHeadersMiddleware(Middleware):
    """Adds the headers, and takes those of pages that Django's own middleware has added from answers in JSON."""

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        response = self.answer(request)
        is_json = response.headers.get("Content-Type", "").startswith(JSON_TYPES)
        for name, value in (JSON_HEADERS if is_json else HEADERS).items():
            response.setdefault(name, value)
        for name in PAGES_ONLY if is_json else ():
            response.headers.pop(name, None)
        return response
