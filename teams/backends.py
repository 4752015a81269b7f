"""Finds the login of a browser's session, as Django asks for it."""

from uuid import UUID

from django.contrib.auth.backends import ModelBackend

from teams.models import User
from teams.row_security import acting_for_login


class LoginBackend(ModelBackend):
    """Names the login to the database while its row is read; see the policies of ``teams_user``."""

    def get_user(self, user_id: object) -> User | None:
        """Return the login, None for none that can sign in."""
        with acting_for_login(UUID(str(user_id))):
            return super().get_user(user_id)
