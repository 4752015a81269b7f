"""``manage.py new_member``: another member of a team, from a script."""

from django.core.management.base import CommandParser

from config.management.commands._member import MemberCommand
from teams.actions.people import create_member
from teams.models import Role
from teams.queries.people import team_by_id_or_name


class Command(MemberCommand):
    help = "Give a login a place in a team. The password is read from LEAFSPAN_PASSWORD. Prints one JSON line of ids."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--team", required=True, help="id, or name if there is one of that name")
        parser.add_argument("--shop", required=True, help="id or name of one of the team's shops; a new name opens one")
        parser.add_argument("--username", required=True)
        parser.add_argument("--role", required=True, choices=Role.values)

    def handle(self, *args: object, team: str, shop: str, username: str, role: str, **options: object) -> None:
        self.make(
            lambda password: create_member(
                team=team_by_id_or_name(team), shop=shop, username=username, role=role, password=password
            )
        )
