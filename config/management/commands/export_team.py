"""``manage.py export_team``: a whole team as one zip, for the operator of the server."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from tastings.actions.exports import record_operator_export
from tastings.queries.exporting import write_export
from teams.errors import Refused
from teams.queries.people import team_by_id_or_name


class Command(BaseCommand):
    help = (
        "Write a whole team to one zip: JSON Lines of every record with its history, CSV for spreadsheets, photos, a "
        "data dictionary and a manifest. Unlike an owner's export it holds everyone's private sessions and flights "
        "that are not revealed yet: keep it accordingly. import_team reads it."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--team", required=True, help="id, or name if there is one of that name")
        parser.add_argument("--to", required=True, type=Path, help="the zip to write; must not be there yet")

    def handle(self, *args: object, team: str, to: Path, **options: object) -> None:
        try:
            exported, now = team_by_id_or_name(team), timezone.now()
            record_operator_export(exported, now=now)
            write_export(exported, to, now=now, log=self._write)
        except Refused as refused:
            raise CommandError(refused.detail) from refused
        except OSError as error:
            raise CommandError(f"{error.filename or to}: {error.strerror}") from error
        self.stdout.write(f"{to}: {to.stat().st_size} bytes")

    def _write(self, line: str) -> None:
        if not line.startswith("photos/"):
            self.stdout.write(line)
