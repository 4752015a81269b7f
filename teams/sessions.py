"""Browser sessions in the database; a request can read only the one whose key its cookie names."""

from django.contrib.sessions.backends import db
from django.contrib.sessions.base_session import AbstractBaseSession

from teams.row_security import note_unknown, reading_session


class SessionStore(db.SessionStore):
    """Names its key to the database around each statement; see the policy of ``django_session``."""

    def _get_session_from_db(self) -> AbstractBaseSession | None:
        session: AbstractBaseSession | None
        with reading_session(self.session_key):
            session = super()._get_session_from_db()  # type: ignore[misc]  # the stubs leave it out
        if session is None:
            note_unknown()
        return session

    def exists(self, session_key: str) -> bool:
        """Whether there is a session with this key."""
        with reading_session(session_key):
            return super().exists(session_key)

    def save(self, must_create: bool = False) -> None:  # noqa: FBT001, FBT002 - as Django has it
        """Write the session; one without a key gets one first."""
        if self.session_key is None:
            self.create()
            return
        with reading_session(self.session_key):
            super().save(must_create)

    def delete(self, session_key: str | None = None) -> None:
        """Delete this session, or the one with the key."""
        with reading_session(session_key or self.session_key):
            super().delete(session_key)
