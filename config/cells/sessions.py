"""Moves the browser sessions of a team's people with it, so that nobody has to sign in again.

They move rather than being accepted everywhere, so that signing out stays what it is: the row of a session is deleted,
and there is no second one. Whose a session is stands only in its signed content, so every session of a cell is read;
before the freeze already, since a session never becomes somebody else's.
"""

from collections.abc import Collection
from uuid import UUID

from django.contrib.auth import SESSION_KEY

from config.cells.copying import Connection
from teams.sessions import SessionStore

_MEMBERS = "SELECT user_id FROM teams_member WHERE team_id = %s AND left_at IS NULL"


class SessionMove:
    """The sessions of the people of one team."""

    def __init__(self, local: Connection, remote: Connection, team: UUID) -> None:
        self._local, self._remote, self._team = local, remote, team
        self._logins: dict[str, str] = {}
        """Whose each session is, by its key; empty for nobody's."""

    def keys(self, side: Connection) -> list[str]:
        """Return the keys of the sessions that a side has of the team's people."""
        people = {str(login) for (login,) in self._local.execute(_MEMBERS, [self._team])}
        keys = [key for (key,) in side.execute("SELECT session_key FROM django_session")]
        new = [key for key in keys if key not in self._logins]
        content = side.execute(
            "SELECT session_key, session_data FROM django_session WHERE session_key = ANY (%s)", [new]
        )
        store = SessionStore()
        self._logins |= {key: str(store.decode(data).get(SESSION_KEY, "")) for key, data in content}
        return [key for key in keys if self._logins.get(key) in people]

    def copy(self, keys: Collection[str]) -> None:
        """Give the other cell these sessions in the place of those that it has of the same people."""
        with self._remote.transaction():
            self._remote.execute("DELETE FROM django_session WHERE session_key = ANY (%s)", [self.keys(self._remote)])
            rows = self._local.execute(
                "SELECT session_key, session_data, expire_date FROM django_session WHERE session_key = ANY (%s)",
                [list(keys)],
            ).fetchall()
            self._remote.cursor().executemany(
                "INSERT INTO django_session (session_key, session_data, expire_date) VALUES (%s, %s, %s)", rows
            )

    def delete(self, keys: Collection[str]) -> None:
        """Delete these sessions here."""
        self._local.execute("DELETE FROM django_session WHERE session_key = ANY (%s)", [list(keys)])
