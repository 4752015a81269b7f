"""How a sign-in code is shown: in two halves, and as a link for a phone's camera."""

from django.http import HttpRequest
from rest_framework.request import Request

from api.http.resets import base_url


def spelled(code: str) -> str:
    """Return the code in two halves, as it is read out and typed."""
    return f"{code[:4]}-{code[4:]}"


def code_url(request: HttpRequest | Request, code: str) -> str:
    """Return the link that opens the app with the code in its fragment, which no server and no log gets to see."""
    return f"{base_url(request)}/table/#code={spelled(code)}"
