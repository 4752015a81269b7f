"""The OpenAPI document as a page to try things out on. Its scripts are files of ours; none stands in the page."""

from typing import Any

from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularSwaggerSplitView
from rest_framework.request import Request
from rest_framework.response import Response

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self';"
    " form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
)
"""Pictures of the library's own style sheet are written into it as ``data:``."""


class DocsPage(SpectacularSwaggerSplitView):
    """The page at ``/api/v1/docs``, and with ``?script=`` the script that fills it."""

    url_name = "schema"
    permission_classes: list[Any] = []
    authentication_classes: list[Any] = []
    template_name = "tastings/docs.html"

    @extend_schema(exclude=True)
    def get(self, request: Request, *args: object, **kwargs: object) -> Response:
        """Answer with the page or its script."""
        response: Response = super().get(request, *args, **kwargs)  # type: ignore[no-untyped-call]  # the library's
        response["Content-Security-Policy"] = POLICY
        return response
