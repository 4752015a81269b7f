"""Addresses of the API, with and without a slash at the end."""

from collections.abc import Iterable, Iterator, Mapping
from uuid import UUID

from django.urls import URLPattern
from django.urls.resolvers import RoutePattern
from rest_framework.request import Request
from rest_framework.response import Response


class EitherSlash(RoutePattern):
    """A route that matches with and without the slash at its end.

    A redirect from one to the other would turn a POST into a GET.
    """

    def match(self, path: str) -> tuple[str, tuple[object, ...], dict[str, int | str]] | None:
        """Match an address, whichever form it has."""
        slash = "/" if str(self).endswith("/") else ""
        return super().match(path.removesuffix("/") + slash)


def with_either_slash(patterns: Iterable[URLPattern]) -> Iterator[URLPattern]:
    """Return the same routes, each matching with and without the slash at its end."""
    for pattern in patterns:
        route = EitherSlash(str(pattern.pattern), is_endpoint=True)
        yield URLPattern(route, pattern.callback, pattern.default_args, pattern.name)


def created_response(
    request: Request, item: UUID | str, payload: object, *, status: int = 201, headers: Mapping[str, str] | None = None
) -> Response:
    """Return the answer to a POST that made an item in the list at the request's address, with the item's address."""
    location = request.build_absolute_uri(f"{request.path.removesuffix('/')}/{item}/")
    return Response(payload, status=status, headers={**(headers or {}), "Location": location})
