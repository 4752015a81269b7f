"""``manage.py import_csv``: tasting sheets kept in a spreadsheet."""

from argparse import RawDescriptionHelpFormatter
from collections import Counter
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser, DjangoHelpFormatter
from django.utils import timezone

from tastings.actions.importing import SessionImport, import_session, import_targets, parse_sheet
from tastings.actions.importing import spreadsheet as sheet
from tastings.actions.importing.store_sessions import CORRECTED, NEW, NOT_OVERWRITTEN, SAME
from teams.errors import Refused
from teams.models import Member, User
from teams.queries.people import memberships_of, team_by_id_or_name


class _AsWritten(DjangoHelpFormatter, RawDescriptionHelpFormatter):
    """Keeps the table of columns in shape."""


class Command(BaseCommand):
    help = f"{sheet.__doc__}\nEnds with status 1 when a row was left out."

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: object) -> CommandParser:
        return super().create_parser(prog_name, subcommand, formatter_class=_AsWritten, **kwargs)

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--team", required=True, help="id, or name if there is one of that name")
        parser.add_argument("--username", required=True, help="the member whose tastings these are")
        parser.add_argument("--dry-run", action="store_true", help="check everything and store nothing")
        parser.add_argument("file", type=Path)

    def handle(self, *args: object, team: str, username: str, dry_run: bool, file: Path, **options: object) -> None:
        try:
            member = _member(team, username)
            targets = import_targets(member)
            sessions, errors = parse_sheet(_content(file), targets=targets)
        except Refused as refused:
            details = [f"{p.field}: {p.detail}" for p in refused.problems if p.field]
            raise CommandError("\n  ".join([refused.detail, *details])) from refused
        done: list[SessionImport] = []
        for session in sessions:
            done.append(import_session(member, session, targets=targets, now=timezone.now(), dry_run=dry_run))
            self.stdout.write(_summary(done[-1]))
        errors = sorted([*errors, *(error for result in done for error in result.errors)], key=lambda error: error.line)
        for error in errors:
            column = f", {error.column}" if error.column else ""
            self.stdout.write(f"line {error.line}{column}: {error.reason}")
        self.stdout.write(_totals(done, dry_run=dry_run))
        if errors:
            raise CommandError(
                f"{_counted(len({error.line for error in errors}), 'line')} left out or only partly taken, named above"
            )


def _member(team: str, username: str) -> Member:
    team_row = team_by_id_or_name(team)
    user = User.objects.filter(username__iexact=username).first()
    for member in memberships_of(user) if user else []:
        if member.team_id == team_row.id:
            return member
    raise CommandError(f"{username} is no member of {team_row.name}")


def _content(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(sheet.MAX_SHEET_BYTES + 1)
    except OSError as error:
        raise CommandError(f"{path} cannot be read: {error.strerror}") from error


def _summary(result: SessionImport) -> str:
    outcomes = [f"{_counted(n, kind)} {outcome}" for (kind, outcome), n in result.counts.items()]
    first, last = min(result.lines), max(result.lines)
    where = f"line {first}" if first == last else f"lines {first}-{last}"
    return f"{result.lot} / {result.label} ({where}): {', '.join(outcomes) or 'nothing stored'}"


def _totals(done: list[SessionImport], *, dry_run: bool) -> str:
    total: Counter[tuple[str, str]] = Counter()
    for result in done:
        total.update(result.counts)
    # a dry run creates a lot once for each of its sessions
    total["lot", NEW] = len({result.lot for result in done if result.counts.get(("lot", NEW))})
    new = ", ".join(_counted(total[kind, NEW], kind) for kind in ("lot", "session", "infusion", "note"))
    corrected, same, n_not_overwritten = (
        sum(n for (_, counted), n in total.items() if counted == outcome)
        for outcome in (CORRECTED, SAME, NOT_OVERWRITTEN)
    )
    return (
        f"{'Checked only; would store' if dry_run else 'Stored'} {new}; {_counted(corrected, 'record')} corrected,"
        f" {same} already so, {n_not_overwritten} kept as edited or deleted since."
    )


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"
