"""Query parameters that an operation does not have are refused, so that a misspelt one is not ignored in silence."""

from __future__ import annotations

from collections.abc import Callable, Collection
from functools import wraps
from typing import TypeVar

from django.utils.translation import gettext as _
from rest_framework.request import Request

from teams.errors import Invalid, Problem

Answer = TypeVar("Answer")


def refuses_other_parameters(method: Callable[..., Answer], *, known: Collection[str]) -> Callable[..., Answer]:
    """Return a view's method that raises Invalid for a query parameter that is not among these."""

    @wraps(method, updated=())  # a method that is described twice, for a view and the view's base, shares nothing
    def checked(view: object, request: Request, **from_path: str) -> Answer:
        check_parameters(request.query_params, known=known)
        return method(view, request, **from_path)

    return checked


def check_parameters(sent: Collection[str], *, known: Collection[str]) -> None:
    """Raise Invalid, naming each query parameter that is not among these."""
    if known:
        detail = _("the parameters here are %(names)s") % {"names": ", ".join(known)}
    else:
        detail = _("there are no parameters here")
    if problems := [Problem(name[:80], "unknown_filter", detail) for name in sent if name not in known]:
        raise Invalid(problems=problems)
