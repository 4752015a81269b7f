"""Addresses of the API, with and without a slash at the end."""

from collections.abc import Iterable, Iterator
from typing import Any

from django.urls import URLPattern
from django.urls.resolvers import RoutePattern
from rest_framework.request import Request


class EitherSlash(RoutePattern):
    """A route that matches with and without the slash at its end.

    A redirect from one to the other would turn a POST into a GET.
    """

    def match(self, path: str) -> Any:  # noqa: ANN401 - as Django has it
        """Match an address, whichever form it has."""
        slash = "/" if str(self).endswith("/") else ""
        return super().match(path.removesuffix("/") + slash)


def with_either_slash(patterns: Iterable[URLPattern]) -> Iterator[URLPattern]:
    """Return the same routes, each matching with and without the slash at its end."""
    for pattern in patterns:
        route = EitherSlash(str(pattern.pattern), is_endpoint=True)
        yield URLPattern(route, pattern.callback, pattern.default_args, pattern.name)


def location_of(request: Request, item: object) -> str:
    """Return the address of an item that was made in the list at the request's address."""
    return request.build_absolute_uri(f"{request.path.removesuffix('/')}/{item}/")
