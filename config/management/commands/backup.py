"""``manage.py backup``: the whole installation as one file."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from config.backup.create import create_backup
from config.backup.programs import BackupError


class Command(BaseCommand):
    help = (
        "Write database and photos into one file, while everything runs. It holds all teams, with the hashes of their "
        "passwords, but no browser sessions: keep it accordingly. It is signed with "
        "LEAFSPAN_SECRET_KEY, which is not in it."
    )
    requires_system_checks: list[str] = []  # they load every route, and are not what a lost server is short of

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="to be written; must not be there yet")

    def handle(self, *args: object, file: Path, **options: object) -> None:
        try:
            create_backup(file, now=timezone.now(), log=self.stdout.write)
        except (BackupError, OSError) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{file}: {file.stat().st_size} bytes")
