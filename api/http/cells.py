"""Answers about what another cell has: a team that lives there, or a token, name or link that is not known here.

The answer names the cell in the header `ELSEWHERE`, or `ANY` of them. The web server in front (`config.web.cells`)
holds such an answer back and passes the request on, so that a client hardly ever sees it.
"""

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils.translation import gettext_lazy as _

from api.http.middleware import Middleware
from teams.errors import Refused
from teams.row_security import cell_of_team, forget_unknown

ELSEWHERE = "X-Leafspan-Elsewhere"
ANY = "any"


class TeamMoving(Refused):
    """The team is being moved to another cell."""

    status = 503
    code = "team_moving"
    wait_s = 1
    title = _("The team is moving to another server; nothing was applied, send it again in a moment")


class TeamMoved(Refused):
    """The team lives in another cell."""

    status = 421
    code = "team_moved"
    title = _("The team lives on another server")

    def __init__(self, cell: str) -> None:
        super().__init__()
        self.cell = cell


def cell_refusal(error: BaseException | None) -> TeamMoving | TeamMoved | None:
    """Return what to answer when the database refused to act for a team that is not here; None for other errors."""
    cell = cell_of_team(error)
    if cell is None:
        return None
    return TeamMoved(cell) if cell else TeamMoving()


class NamesOtherCells(Middleware):
    """Begin a request with nothing unknown; say in the answer when it named what this cell does not know."""

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        forget_unknown()
        response = self.answer(request)
        if forget_unknown() and ELSEWHERE not in response:
            response[ELSEWHERE] = ANY
        return response
