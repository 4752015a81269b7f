"""``manage.py import_csv``: tasting sheets kept in a spreadsheet."""

from argparse import RawDescriptionHelpFormatter
from collections import Counter
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser, DjangoHelpFormatter
from django.utils import timezone

from tastings.actions.importing import Fault, Imported, import_pot, known_to, read_sheet
from tastings.actions.importing import spreadsheet as sheet
from tastings.actions.importing.storing import CORRECTED, KEPT, NEW, SAME
from teams.errors import Refused
from teams.models import Member, User
from teams.queries.people import find_team, memberships_of


class _AsWritten(DjangoHelpFormatter, RawDescriptionHelpFormatter):
    """Keeps the table of columns in shape."""


class Command(BaseCommand):
    help = f"{sheet.__doc__}\nEnds with status 1 when a row was left out."

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        return super().create_parser(prog_name, subcommand, formatter_class=_AsWritten, **kwargs)

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--team", required=True, help="id, or name if there is one of that name")
        parser.add_argument("--username", required=True, help="the member whose tastings these are")
        parser.add_argument("--dry-run", action="store_true", help="check everything and store nothing")
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        dry_run = bool(options["dry_run"])
        try:
            member = _member(options["team"], options["username"])
            known = known_to(member)
            pots, faults = read_sheet(_content(options["file"]), known=known)
        except Refused as refused:
            said = [f"{p.field}: {p.detail}" for p in refused.problems if p.field]
            raise CommandError("\n  ".join([refused.detail, *said])) from refused
        done: list[Imported] = []
        for pot in pots:
            done.append(import_pot(member, pot, known=known, now=timezone.now(), dry_run=dry_run))
            self.stdout.write(_told(done[-1]))
        faults = sorted([*faults, *(f for one in done for f in one.faults)], key=lambda fault: fault.line)
        for fault in faults:
            self.stdout.write(_named(fault))
        self.stdout.write(_sum(done, dry_run=dry_run))
        if faults:
            raise CommandError(
                f"{_n(len({f.line for f in faults}), 'line')} left out or only partly taken, named above"
            )


def _member(team: str, username: str) -> Member:
    found = find_team(team)
    user = User.objects.filter(username__iexact=username).first()
    for member in memberships_of(user) if user else []:
        if member.team_id == found.id:
            return member
    raise CommandError(f"{username} is no member of {found.name}")


def _content(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(sheet.LARGEST_BYTES + 1)
    except OSError as error:
        raise CommandError(f"{path} cannot be read: {error.strerror}") from error


def _told(one: Imported) -> str:
    words = [f"{_n(n, kind)} {word}" for (kind, word), n in one.counts.items()]
    first, last = min(one.lines), max(one.lines)
    where = f"line {first}" if first == last else f"lines {first}-{last}"
    return f"{one.lot} / {one.label} ({where}): {', '.join(words) or 'nothing stored'}"


def _named(fault: Fault) -> str:
    return f"line {fault.line}{', ' + fault.column if fault.column else ''}: {fault.reason}"


def _sum(done: list[Imported], *, dry_run: bool) -> str:
    total: Counter[tuple[str, str]] = Counter()
    for one in done:
        total.update(one.counts)
    total["lot", NEW] = len({one.lot for one in done if one.counts.get(("lot", NEW))})  # a dry run makes it each time
    new = ", ".join(_n(total[kind, NEW], kind) for kind in ("lot", "session", "infusion", "note"))
    corrected, same, kept = (sum(n for (_, w), n in total.items() if w == word) for word in (CORRECTED, SAME, KEPT))
    return (
        f"{'Checked only; would store' if dry_run else 'Stored'} {new}; {_n(corrected, 'record')} corrected, {same}"
        f" already so, {kept} kept as edited or deleted since."
    )


def _n(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"
