"""Each request acts for no team and no login until it has shown whose it is, and for none once it is answered."""

from django.http import HttpRequest
from django.http.response import HttpResponseBase

from api.http.middleware import Middleware
from teams.row_security import acting_for, acting_for_login


class ActForNobody(Middleware):
    """Begin and end a request acting for nobody; see `teams.row_security`."""

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        with acting_for(), acting_for_login(None):
            return self.answer(request)
