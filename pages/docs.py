"""The OpenAPI document as a page to try things out on. Its scripts are files of ours; none stands in the page."""

from collections.abc import Iterable
from typing import Any

from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self';"
    " form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
)
"""Pictures of the library's own style sheet are written into it as ``data:``."""


class _RefusingInJSON(APIView):
    """Writes errors as problem documents in JSON, not in the format of the view."""

    def handle_exception(self, exc: Exception) -> Response:
        """Answer in JSON."""
        self.request.accepted_renderer = JSONRenderer()
        return super().handle_exception(exc)


class _ByFormat(DefaultContentNegotiation):
    """Lets ``?format=json`` or ``yaml`` choose, which elsewhere means nothing."""

    def select_renderer(self, request: Request, renderers: Iterable[Any], format_suffix: str | None = None) -> Any:  # noqa: ANN401 - the framework's shape
        """Return the renderer and its media type."""
        return super().select_renderer(request, renderers, format_suffix or request.query_params.get("format"))


class Document(_RefusingInJSON, SpectacularAPIView):
    """The OpenAPI document."""

    content_negotiation_class = _ByFormat

    permission_classes: list[Any] = []
    authentication_classes: list[Any] = []


class DocsPage(_RefusingInJSON, SpectacularSwaggerSplitView):
    """The page at ``/api/v1/docs``, and with ``?script=`` the script that fills it."""

    url_name = "schema"
    permission_classes: list[Any] = []
    authentication_classes: list[Any] = []
    template_name = "pages/docs.html"

    @extend_schema(exclude=True)
    def get(self, request: Request, *args: object, **kwargs: object) -> Response:
        """Answer with the page or its script."""
        response: Response = super().get(request, *args, **kwargs)  # type: ignore[no-untyped-call]  # the library's
        response["Content-Security-Policy"] = POLICY
        return response
