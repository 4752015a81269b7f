"""What all middlewares here share."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase


class Middleware:
    """Has the next middleware, in the end the view, as ``self.answer``."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.answer = get_response
