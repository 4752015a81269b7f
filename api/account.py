"""The caller's own login: password, address for a forgotten one, signing out everywhere; a forgotten password."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.utils import timezone
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import address_of, token_of
from api.http.bodies import body_of
from api.http.resets import ANSWER, request_reset
from api.people import text_in
from lots.schema import Unfit, clean_text
from lots.wording import problem_of
from teams.actions.passwords import change_email, change_password
from teams.actions.resets import reset_password
from teams.errors import Invalid, Problem


class Password(APIView):
    """The caller's password."""

    def post(self, request: Request) -> Response:
        """Change it; the present one must be given. Every other device and browser is signed out."""
        sent, problems = body_of(request), list[Problem]()
        password, new_password = (text_in(sent, name, problems=problems) for name in ("password", "new_password"))
        if problems:
            raise Invalid(problems=problems)
        change_password(
            token_of(request),
            password=password,
            new_password=new_password,
            address=address_of(request),
            now=timezone.now(),
        )
        return Response(status=204)


class Email(APIView):
    """The address to which a link goes when the caller forgets the password."""

    def post(self, request: Request) -> Response:
        """Set it, or with an empty text have none; the password must be given."""
        sent, problems = body_of(request), list[Problem]()
        password = text_in(sent, "password", problems=problems)
        try:
            email = clean_text(sent.get("email"), longest=254)
        except Unfit as error:
            problems.append(problem_of("email", error.fault))
            email = ""
        if problems:
            raise Invalid(problems=problems)
        user = change_email(
            token_of(request), email=email, password=password, address=address_of(request), now=timezone.now()
        )
        return Response({"email": user.email})


class AskForReset(APIView):
    """A forgotten password."""

    authentication_classes: Sequence[Any] = ()
    permission_classes = [AllowAny]

    def post(self, request: Request) -> Response:
        """Ask for a link by mail. ``username`` may be an e-mail address; the answer is the same whoever it is."""
        problems = list[Problem]()
        username = text_in(body_of(request), "username", problems=problems)
        if problems:
            raise Invalid(problems=problems)
        request_reset(request, username)
        return Response({"detail": ANSWER}, status=202)


class Reset(APIView):
    """A new password by a mailed link."""

    authentication_classes: Sequence[Any] = ()
    permission_classes = [AllowAny]

    def post(self, request: Request) -> Response:
        """Set it; every device and browser of the login is signed out. The link works once."""
        sent, problems = body_of(request), list[Problem]()
        token, password = (text_in(sent, name, problems=problems) for name in ("token", "password"))
        if problems:
            raise Invalid(problems=problems)
        reset_password(token=token, password=password, address=address_of(request), now=timezone.now())
        return Response(status=204)
