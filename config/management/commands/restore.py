"""``manage.py restore``: a backup back onto an empty server."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser

from config.backup.programs import BackupError
from config.backup.restore import restore_backup


class Command(BaseCommand):
    help = (
        "Restore what backup wrote onto a database without teams and an empty photo folder, compare every table with "
        "what it held, and only then make it final. Phones go on: what is written from now on reaches all of them."
    )
    requires_system_checks: list[str] = []  # they load every route, and are not what a lost server is short of

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--phones-start-again",
            action="store_true",
            help="have phones pull everything anew, so that all hold just what the server holds; what was written "
            "after the backup and is left on phones alone is then lost",
        )

        parser.add_argument(
            "--unsigned",
            action="store_true",
            help="restore a backup without a signature, or with one that does not fit LEAFSPAN_SECRET_KEY; only if "
            "you know where the file has been since it was made",
        )

    def handle(self, *args: object, file: Path, phones_start_again: bool, unsigned: bool, **options: object) -> None:
        try:
            restore_backup(
                file,
                start_again=phones_start_again,
                unsigned=unsigned,
                log=self.stdout.write,
            )
        except (BackupError, OSError) as error:
            raise CommandError(str(error)) from error
