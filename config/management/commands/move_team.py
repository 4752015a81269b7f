"""``manage.py move_team``: a team with its photos to another cell, while its phones go on."""

import os

from django.core.management.base import BaseCommand, CommandError, CommandParser

from config.cells.copying import DifferentError
from config.cells.move import MoveError, TargetCell, check_cell, delete_left_copy, move_team, note_moved
from config.cells.photos import PhotoDamagedError, store_at
from tastings.models.photo_files import store
from teams.errors import Refused
from teams.queries.people import team_by_id_or_name


class Command(BaseCommand):
    help = (
        "Move a team to another cell: rows, history, photos, links, devices signed in. Phones go on meanwhile; for a "
        "moment at the end they are asked to come back. Run it again if it was interrupted. The environment has "
        "LEAFSPAN_TO_DATABASE_URL (of the owner there) and LEAFSPAN_TO_PHOTOS (folder, or s3://bucket/prefix). What "
        "the team leaves here stays, and nobody can act for it, until --delete-left-copy."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--team", required=True, help="id, or name if there is one of that name")
        parser.add_argument("--to", required=True, help="the name of a cell in LEAFSPAN_CELLS")
        parser.add_argument(
            "--lives-there", action="store_true", help="only note it, after a restore from before the team moved there"
        )
        parser.add_argument("--despite-missing", action="store_true", help="also if photos are not in the store here")
        parser.add_argument("--delete-left-copy", action="store_true", help="delete what a team that moved there left")

    def handle(self, *args: object, team: str, to: str, **options: object) -> None:
        database, address = os.environ.get("LEAFSPAN_TO_DATABASE_URL"), os.environ.get("LEAFSPAN_TO_PHOTOS")
        if not database or not address:
            raise CommandError("LEAFSPAN_TO_DATABASE_URL and LEAFSPAN_TO_PHOTOS must name the other cell's")
        target = TargetCell(cell=to, database=database, photos=store_at(address))
        try:
            team_id = team_by_id_or_name(team, may_live_elsewhere=True).id
            if options["delete_left_copy"]:
                delete_left_copy(team_id, target, store(), log=self.stdout.write)
                return
            if options["lives_there"]:
                note_moved(team_id, target)
                return
            check_cell(target.cell)
            moved = move_team(
                team_id, target, store(), log=self.stdout.write, despite_missing=bool(options["despite_missing"])
            )
        except (MoveError, DifferentError, PhotoDamagedError) as error:
            raise CommandError(f"not moved: {error}") from error
        except Refused as refused:
            raise CommandError(f"not moved: {refused.detail}") from refused
        speed = moved.sent / moved.copy_s if moved.copy_s else 0.0
        self.stdout.write(f"moved to {target.cell}: {moved.rows} rows, {speed:.0f} rows/s before the freeze")
