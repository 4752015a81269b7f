"""Each request acts for no team until it has shown whose it is, and for none once it is answered."""

from collections.abc import Callable

from django.http import HttpRequest
from django.http.response import HttpResponseBase

from teams.row_security import acting_for


class ActForNobody:
    """Begin and end a request acting for no team; see `teams.row_security`."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._answer = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        with acting_for():
            return self._answer(request)
