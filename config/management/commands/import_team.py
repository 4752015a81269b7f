"""``manage.py import_team``: an exported team into an empty one."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from tastings.actions.importing.team import ArchiveError, import_team
from tastings.models.photo_files import give_to_owner
from teams.errors import Refused


class Command(BaseCommand):
    help = (
        "Import what export_team or an owner's export wrote into a team that has no records yet. Everything is checked "
        "and nothing is stored unless all of it holds. Ids stay, so the team must not be on this server already. Its "
        "people get logins under their names without a password; those who have one here already join only if named."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--team", required=True, help="id or name of an empty team; a new name makes one")
        parser.add_argument(
            "--join",
            metavar="USERNAME",
            action="append",
            default=[],
            help="somebody of the file who has a login here already and agrees to become a member; may be repeated",
        )
        parser.add_argument("file", type=Path)

    def handle(self, *args: object, team: str, join: list[str], file: Path, **options: object) -> None:
        try:
            result = import_team(file, team=team, join=join, log=self.stdout.write, now=timezone.now())
        except ArchiveError as error:
            raise CommandError(f"nothing was imported. {error}") from error
        except Refused as refused:
            details = "; ".join(f"{p.field}: {p.detail}" for p in refused.problems)
            raise CommandError(f"nothing was imported. {details or refused.detail}") from refused
        give_to_owner()
        self.stdout.write(f"imported {sum(result.lines.values())} lines into team {result.team}")
