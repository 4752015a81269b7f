"""The token that a request comes with, in one statement that is written once.

Every request of a phone looks its token up. Django would put the statement over five tables together anew each time,
which took three times as long as the database's answer.
"""

from datetime import datetime
from functools import cache

from django.db import DEFAULT_DB_ALIAS, connection, models

from teams.models import DeviceToken, Member, Shop, Team, User
from teams.row_security import run_for_token

_JOINED: tuple[tuple[type[models.Model], str], ...] = (
    (DeviceToken, "token"), (Member, "member"), (User, "login"), (Team, "team"), (Shop, "shop"),
)  # fmt: skip


def token_by_digest(digest: str, *, now: datetime) -> DeviceToken | None:
    """Return the valid token with this digest, with its member, login, team and shop."""
    rows = run_for_token(digest, (_statement(), [digest, now]))
    if not rows:
        return None
    [row], instances = rows, []
    for model, _alias in _JOINED:
        names = _attributes(model)
        values, row = row[: len(names)], row[len(names) :]
        instances.append(None if values[0] is None else model.from_db(DEFAULT_DB_ALIAS, names, values))
    token, member, member_user, team, shop = instances
    member.user, member.team, member.shop = member_user, team, shop  # type: ignore[union-attr]  # of these models
    token.member = member  # type: ignore[union-attr]
    return token  # type: ignore[return-value]


@cache
def _attributes(model: type[models.Model]) -> tuple[str, ...]:
    return tuple(field.attname for field in model._meta.concrete_fields)


@cache
def _statement() -> str:
    table = {alias: connection.ops.quote_name(model._meta.db_table) for model, alias in _JOINED}
    columns = ", ".join(
        f"{alias}.{connection.ops.quote_name(str(field.column))}"
        for model, alias in _JOINED
        for field in model._meta.concrete_fields
    )
    return (
        f"SELECT {columns} FROM {table['token']} AS token"  # noqa: S608 - names of our own tables
        f" JOIN {table['member']} AS member ON member.id = token.member_id"
        f" JOIN {table['login']} AS login ON login.id = member.user_id"
        f" JOIN {table['team']} AS team ON team.id = member.team_id"
        f" LEFT JOIN {table['shop']} AS shop ON shop.id = member.shop_id"
        " WHERE token.digest = %s AND token.expires_at > %s AND member.left_at IS NULL AND login.is_active"
    )
