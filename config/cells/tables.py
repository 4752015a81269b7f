"""The tables of which a team's rows are moved, parents first, and which rows those are.

Ids stay, but for the running numbers of a few tables, which another cell has given to others: these rows are known by
other columns, and memberships, the only ones that are referred to, by their login.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from config.backup.checksums import quote_name

TEAM = "%(team)s"
"""Placeholder of the team's id in a statement."""
_MEMBERS = f"(SELECT user_id FROM teams_member WHERE team_id = {TEAM} AND left_at IS NULL)"  # noqa: S608 - no values
_FORMER = f"(SELECT user_id FROM teams_member WHERE team_id = {TEAM} AND left_at IS NOT NULL)"  # noqa: S608
_OF_MEMBERSHIP = f"member_id IN (SELECT id FROM teams_member WHERE team_id = {TEAM})"  # noqa: S608


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedTable:
    """A table, the condition of a team's rows in it, and the columns by which one row is known."""

    name: str
    where: str = f"team_id = {TEAM}"
    key: Sequence[str] = ("id",)
    """One column of UUIDs, or several columns."""
    number: str | None = None
    """The column of a running number, which the other cell gives anew."""
    by_login: bool = False
    """Whether ``member_id`` refers to a membership, which is sent as its login."""
    stays: bool = False
    """Whether rows that the other cell has too many are left there."""
    of_logins: bool = False
    """Whether the rows are of people, not of the team."""
    by_revision: bool = False
    """Whether a row never changes without a higher revision, so that later passes need not look at the others."""

    def expression(self, column: str) -> str:
        """Return the SQL that reads a column."""
        if self.is_membership(column):
            return "(SELECT user_id FROM teams_member AS one WHERE one.id = member_id)"
        return quote_name(column)

    def is_membership(self, column: str) -> bool:
        """Whether a column refers to a membership."""
        return self.by_login and column == "member_id"


FORMER_LOGINS = MovedTable(name="teams_user", where=f"id IN {_FORMER}", stays=True, of_logins=True)
"""People who left the team, whose tastings still name them: sent where the other cell does not have them."""
TABLES = (
    MovedTable(name="teams_user", where=f"id IN {_MEMBERS}", stays=True, of_logins=True),
    MovedTable(name="teams_team", where=f"id = {TEAM}"),
    MovedTable(name="teams_shop"),
    MovedTable(name="teams_member", key=("team_id", "user_id"), number="id"),
    MovedTable(name="teams_devicetoken", where=_OF_MEMBERSHIP, by_login=True),
    MovedTable(name="teams_signincode", where=_OF_MEMBERSHIP, key=("member_id",), by_login=True),
    MovedTable(name="teams_storedanswer", by_login=True),
    MovedTable(name="teams_invitation"),
    MovedTable(name="teams_auditentry"),
    MovedTable(
        name="teams_knownplace", where=f"user_id IN {_MEMBERS}", key=("user_id", "place"), number="id", of_logins=True
    ),
    MovedTable(name="teams_resetlink", where=f"user_id IN {_MEMBERS}", of_logins=True),
    MovedTable(name="teams_emailverification", where=f"user_id IN {_MEMBERS}", of_logins=True),
    MovedTable(name="tastings_descriptor"),
    MovedTable(name="lots_lot"),
    MovedTable(name="tastings_pot"),
    MovedTable(name="tastings_flight"),
    MovedTable(name="tastings_flightlot", key=("flight_id", "lot_id"), number="id"),
    MovedTable(name="tastings_flightmember", key=("flight_id", "user_id"), number="id"),
    MovedTable(name="tastings_flightcup"),
    MovedTable(name="tastings_session", by_revision=True),
    MovedTable(name="tastings_infusion", by_revision=True),
    MovedTable(name="tastings_note", by_revision=True),
    MovedTable(name="lots_fieldhistory"),
    MovedTable(name="tastings_triangletest"),
    MovedTable(name="tastings_triangletaster", key=("team_id", "test_id", "user_id"), number="id"),
    MovedTable(
        name="tastings_trial",
        where=f"test_id IN (SELECT id FROM tastings_triangletest WHERE team_id = {TEAM})",  # noqa: S608
    ),
    MovedTable(name="tastings_photocontent"),
    MovedTable(name="tastings_teamlogo", key=("team_id",)),
    MovedTable(name="tastings_photo"),
    MovedTable(name="tastings_share"),
    MovedTable(name="tastings_development", key=("lot_id",)),
    MovedTable(name="tastings_teampanel", key=("team_id",)),
    MovedTable(name="tastings_recordcount"),
)
LEFT_OUT: Mapping[str, str] = {
    "tastings_paper": "documents rendered from figures; they are rendered again",
    "teams_movedteam": "where teams live, which each cell says for itself",
    "teams_tally": "counts of attempts, under digests of no team",
    "teams_resetrequest": "names as they were typed, of nobody yet; each cell gets them",
    "django_session": "browser sessions: config.cells.sessions sends those of the team's people",
    "django_migrations": "of the database",
    "django_content_type": "of the framework",
    "auth_group": "of the framework, unused",
    "auth_permission": "of the framework, unused",
    "auth_group_permissions": "of the framework, unused",
}
"""Tables that are not moved, and why."""
