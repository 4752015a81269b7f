"""The app's page, its manifest and its service worker. All data comes from the API."""

import json

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.utils.translation import gettext as _
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_safe

from table.shell import WORKER, shell_files, shell_version

PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self';"
    " manifest-src 'self'; worker-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none';"
    " require-trusted-types-for 'script'; trusted-types leafspan"
)
"""The one trusted type is the address of the service worker: `static/table/data/shell.js`."""
WORKER_POLICY = (
    "default-src 'none'; script-src 'self'; connect-src 'self'; base-uri 'none';"
    " require-trusted-types-for 'script'; trusted-types 'none'"
)
"""A worker obeys the policy of its own file: without ``connect-src`` it could fetch nothing."""
THEME, PAPER = "#00573f", "#f5eee3"
LANGUAGES = "table/words/de"
"""Modules that are loaded when they are wanted; all others are named in the page, so that none waits for another."""


@ensure_csrf_cookie
@require_safe
def shell(request: HttpRequest) -> HttpResponse:
    """Serve the page that loads the app. It is the same for everybody."""
    modules = [name for name in shell_files() if name.endswith(".js") and not name.startswith(LANGUAGES)]
    response = render(request, "table/shell.html", {"version": shell_version(), "theme": THEME, "modules": modules})
    return _fresh(response, PAGE_POLICY)


@require_safe
def manifest(request: HttpRequest) -> HttpResponse:  # noqa: ARG001 - Django's shape
    """Serve what a phone needs to install the app."""
    icons = [
        {"src": static(f"table/icons/{name}"), "sizes": sizes, "type": kind, "purpose": purpose}
        for name, sizes, kind, purpose in (
            ("leaf.svg", "any", "image/svg+xml", "any"),
            ("leaf-192.png", "192x192", "image/png", "any"),
            ("leaf-512.png", "512x512", "image/png", "any"),
            ("leaf-maskable-512.png", "512x512", "image/png", "maskable"),
        )
    ]
    answer = {
        "id": "/table/",
        "name": _("Leafspan: tasting table"),
        "short_name": "Leafspan",
        "start_url": "/table/",
        "scope": "/table/",
        "display": "standalone",
        "theme_color": THEME,
        "background_color": PAPER,
        "icons": icons,
    }
    return _fresh(JsonResponse(answer, content_type="application/manifest+json"))


@require_safe
def service_worker(request: HttpRequest) -> HttpResponse:  # noqa: ARG001 - Django's shape
    """Serve the service worker with the list of the files that it stores."""
    files = {static(name): digest for name, digest in shell_files().items()}
    head = f"const VERSION = {json.dumps(shell_version())};\nconst FILES = {json.dumps(files, indent=1)};\n"
    response = HttpResponse(head + WORKER.read_text("utf-8"), content_type="text/javascript; charset=utf-8")
    return _fresh(response, WORKER_POLICY)


def _fresh(response: HttpResponse, policy: str = "") -> HttpResponse:
    """Let no cache answer with an old version."""
    response["Cache-Control"] = "no-cache"
    if policy:
        response["Content-Security-Policy"] = policy
    return response
