"""Each request acts for no team and no login until it has shown whose it is, and for none once it is answered."""

from collections.abc import Callable

from django.http import HttpRequest
from django.http.response import HttpResponseBase

from teams.row_security import acting_for, acting_for_login


class ActForNobody:
    """Begin and end a request acting for nobody; see `teams.row_security`."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._answer = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        with acting_for(), acting_for_login(None):
            return self._answer(request)
