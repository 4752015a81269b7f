"""Imports an export into an empty team in one transaction: all of it or nothing."""

import re
from collections.abc import Collection, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from uuid import UUID

import psycopg
from django.db import connection, transaction
from django.db.models import Max, Min

from lots.merge import DELETED
from lots.models import FieldHistory
from lots.schema import format_utc_short
from tastings.actions.importing.team.archive_rows import ReferencedIds, row_builder, validated_lines
from tastings.actions.importing.team.import_archive import Archive, ArchiveError, LogLine, open_archive
from tastings.actions.importing.team.pictures import store_pictures
from tastings.actions.push.checks import LATEST_START
from tastings.actions.quotas import recount_records
from tastings.models import Development, Session
from tastings.queries.exporting import MEMBERS, SETTINGS, TABLES, ExportTable
from tastings.queries.pull_only import PULL_ONLY
from tastings.queries.records import MODELS, shared_sessions
from tastings.schemas import RECORD_SCHEMAS
from teams.actions.counters import REVISION_JUMP
from teams.actions.people import clean_name, clean_time_zone, clean_username
from teams.actions.revisions import renew
from teams.errors import Invalid, NotFound
from teams.models import Team, User
from teams.queries.people import is_id, team_by_id_or_name

_Line = tuple[int, dict[str, object]]
"""A line's number and its clean values."""
_UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportedTeam:
    """What an import stored: the team and the lines of each table."""

    team: UUID
    lines: dict[str, int]


def import_team(
    path: Path, *, team: str, log: LogLine, now: datetime, join: Collection[str] = frozenset()
) -> ImportedTeam:
    """Import an export into a team that has no records yet, named by id or name; made by this name if there is none.

    Ids stay as they are, so a team cannot be imported on the server that it is on. Its people get logins without a
    password under their old names. One who has a login here already becomes a member, at ``now``, only if ``join``
    names them: a file must not put somebody into a team they know nothing of. ``log`` is called with a line for each
    step. Raise ArchiveError, with the place, if the file is not valid (nothing was stored then), Invalid if the team
    has records or its name cannot be one.
    """
    with open_archive(path, log=log) as archive, ExitStack() as cleanup:
        with transaction.atomic():
            target = _empty_team(team)
            referenced, lines = ReferencedIds.from_built_in(), dict[str, int]()
            for table in TABLES:
                content = validated_lines(archive, table, referenced=referenced)
                if table is MEMBERS:
                    content = _create_missing_logins(content, join=join, now=now)
                lines[table.name] = _store_table(table, content, team=target)
                log(f"{table.name}: {lines[table.name]}")
            referenced.raise_unresolved()
            _check_foreign_keys(archive)
            _check_samples(target, archive)
            _check_moments_and_history(target, archive, now=now)
            _advance_counter(target)
            log(f"pictures: {store_pictures(target, archive, cleanup=cleanup)}")
        cleanup.pop_all()
    return ImportedTeam(team=target.id, lines=lines)


def _empty_team(text: str) -> Team:
    try:
        team = team_by_id_or_name(text)
    except NotFound:
        if is_id(text) or Team.objects.filter(name=text).exists():
            raise
        return Team.objects.create(name=clean_name(text, field="team", longest=120))
    team = Team.objects.select_for_update().get(id=team.id)
    if team.pruned_revision or any(table.rows_of(team).exists() for table in TABLES if table not in _OF_A_NEW_TEAM):
        raise Invalid(f"{team.name} holds records already; import into a team that is empty, or under a new name")
    return team


_OF_A_NEW_TEAM = tuple(table for table in TABLES if table.name in ("settings", "shops", "members"))


def _store_table(table: ExportTable, lines: Iterator[_Line], *, team: Team) -> int:
    if table is SETTINGS:
        return _store_settings(list(lines), team)
    names, to_row = row_builder(table, team=team.id)
    name = connection.ops.quote_name
    columns = ", ".join(map(name, names))
    number = 0
    try:
        with (
            connection.cursor() as cursor,
            cursor.copy(f"COPY {name(table.model._meta.db_table)} ({columns}) FROM STDIN") as copy,
        ):
            for number, values in lines:  # noqa: B007 - the last one counts
                copy.write_row(to_row(values))
    except psycopg.Error as error:
        raise _copy_error(table, error) from error
    return number


def _store_settings(content: Sequence[_Line], team: Team) -> int:
    if len(content) != 1:
        raise ArchiveError("must have one line", file=SETTINGS.file)
    values = content[0][1]
    try:
        clean_time_zone(values["time_zone"])
        with transaction.atomic():
            Team.objects.filter(id=team.id).update(
                **{str(column.stored_in): values[column.name] for column in SETTINGS.columns}
            )
    except Exception as error:
        raise ArchiveError(str(error).partition("\n")[0], file=SETTINGS.file, line=1) from error
    return 1


def _create_missing_logins(lines: Iterator[_Line], *, join: Collection[str], now: datetime) -> Iterator[_Line]:
    """Make a login without a password for everyone who has none here; check those who have one."""
    all_lines = list(lines)
    for number, values in all_lines:
        user, username = UUID(str(values["user"])), str(values["username"])
        wrong = partial(ArchiveError, file=MEMBERS.file, line=number)
        same_id = User.objects.filter(id=user).first()
        same_name = User.objects.filter(username__iexact=username).first()
        if same_name is not None and same_name.id != user:
            raise wrong(
                f"{username} is someone else's name on this server; rename one of the two first", field="username"
            )
        if same_id is not None and same_name is None:
            raise wrong("is a login of another name here", field="user")
        if same_id is None:
            try:
                login = User(id=user, username=clean_username(username), name=str(values["name"] or ""))
            except Invalid as refused:
                raise wrong(refused.problems[0].detail, field="username") from refused
            login.set_unusable_password()
            login.save(force_insert=True)
        elif values["left_at"] is None:
            if username not in join:
                raise wrong(
                    f"{username} has a login here already and would become a member: if they agree, give --join"
                    f" {username}",
                    field="username",
                )
            values["joined_at"] = format_utc_short(now)
    return iter(all_lines)


def _copy_error(table: ExportTable, error: psycopg.Error) -> ArchiveError:
    """Return the error with the line where the database refused a row: it counts the lines of a COPY itself."""
    diagnostics = error.diag
    match = re.search(r"line (\d+)", diagnostics.context or "")
    line = int(match.group(1)) if match else 0
    field = diagnostics.column_name or ""
    reason = diagnostics.message_primary or str(error)
    if isinstance(error, psycopg.errors.UniqueViolation):
        primary = (diagnostics.constraint_name or "").endswith("_pkey")
        if primary:
            reason, field = "is on this server already: a team is imported on a server that it is not on", "id"
        elif diagnostics.message_detail:
            reason = diagnostics.message_detail
    elif diagnostics.constraint_name:
        reason = f"does not fit the rule {diagnostics.constraint_name}"
    return ArchiveError(reason, file=table.file, line=line, field=field)


def _check_foreign_keys(archive: Archive) -> None:
    """Have the database check every reference now; raise the error of the line that has a wrong one."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute("SET CONSTRAINTS ALL DEFERRED")
    except Exception as error:
        cause = error.__cause__
        if not isinstance(cause, psycopg.Error):
            raise
        raise _foreign_key_error(archive, cause) from error


def _foreign_key_error(archive: Archive, error: psycopg.Error) -> ArchiveError:
    diagnostics = error.diag
    table = next((table for table in TABLES if table.model._meta.db_table == diagnostics.table_name), None)
    detail = diagnostics.message_detail or diagnostics.message_primary or ""
    if table is None:
        return ArchiveError(detail)
    key = re.match(r"Key \((.*?)\)=\((.*?)\)", detail)
    columns = [name.strip() for name in key.group(1).split(",")] if key else []
    values = [value.strip() for value in key.group(2).split(",")] if key else []
    own = {name: value for name, value in zip(columns, values, strict=False) if name != "team_id"}
    ids = list(own.values()) or _UUID.findall(diagnostics.message_primary or "")
    names = [name.removesuffix("_id") for name in own]
    line = next((n for n, text in archive.raw_lines(table.file) if ids and all(value in text for value in ids)), 0)
    field = next((name for name in names if name not in ("id", "session")), names[0] if names else "")
    reason = detail or f"does not fit the rule {diagnostics.constraint_name}"
    if isinstance(error, psycopg.errors.ForeignKeyViolation):
        reason = f"names what is not in the file: {', '.join(ids)}"
    return ArchiveError(reason, file=table.file, line=line, field=field)


def _check_moments_and_history(team: Team, archive: Archive, *, now: datetime) -> None:
    """Refuse sessions that begin far in the future, and earlier values of fields that there are not."""
    late = Session.objects.filter(team_id=team.id, started_at__gt=now + LATEST_START).first()
    if late is not None:
        raise _error_at(archive, "sessions", late.id, "started_at", "lies more than two days ahead")
    for type_name, schema in RECORD_SCHEMAS.items():
        earlier = FieldHistory.objects.filter(team_id=team.id, type=type_name)
        unknown = earlier.exclude(field__in=[*schema.by_name(), DELETED]).first()
        if unknown is not None:
            raise _error_at(archive, "history", unknown.record, "field", f"is not a field of {type_name} records")


def _error_at(archive: Archive, table: str, row: UUID, field: str, reason: str) -> ArchiveError:
    """Return the error about a field of the first line that holds this id."""
    file = next(info.file for info in TABLES if info.name == table)
    line = next((number for number, text in archive.raw_lines(file) if str(row) in text), 0)
    return ArchiveError(reason, file=file, line=line, field=field)


_CIRCLES = """
    WITH RECURSIVE chain (lot, sample) AS (
        SELECT id, from_lot_id FROM lots_lot WHERE team_id = %s AND from_lot_id IS NOT NULL
        UNION SELECT chain.lot, lot.from_lot_id FROM chain JOIN lots_lot AS lot ON lot.id = chain.sample
            WHERE lot.from_lot_id IS NOT NULL
    ) SELECT lot FROM chain WHERE lot = sample LIMIT 1
"""


def _check_samples(team: Team, archive: Archive) -> None:
    """Refuse lots that were bought from themselves, by way of others or at once."""
    with connection.cursor() as cursor:
        cursor.execute(_CIRCLES, [team.id])
        row = cursor.fetchone()
    if row is not None:
        raise _error_at(archive, "lots", row[0], "from_lot", "leads back to this lot")


def _advance_counter(team: Team) -> None:
    """Put the counter past every cursor a phone may hold, and mark every lot that has figures to compute."""
    revisions = [
        model._default_manager.filter(team_id=team.id).aggregate(first=Min("revision"), last=Max("revision"))
        for model in MODELS.values()
    ]
    first = min((ends["first"] for ends in revisions if ends["first"]), default=1)
    last = max((ends["last"] for ends in revisions if ends["last"]), default=0)
    Team.objects.filter(id=team.id).update(first_revision=first - 1, revision=REVISION_JUMP + last)
    for model in PULL_ONLY.values():
        renew(model._default_manager.filter(team_id=team.id))
    highest = Team.objects.values_list("revision", flat=True).get(id=team.id)
    lots = Session.objects.filter(shared_sessions(), team_id=team.id, removed=False).values_list("lot_id", flat=True)
    recount_records(team.id)
    # no job is enqueued here: the timetable finds what is due, a few at a time
    Development.objects.bulk_create(
        (Development(lot_id=lot, team_id=team.id, due_revision=highest) for lot in lots.distinct()), batch_size=1000
    )
