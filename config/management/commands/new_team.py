"""``manage.py new_team``: a team with its first shop and its owner, from a script."""

from django.core.management.base import CommandParser

from config.management.commands._member import MemberCommand
from teams.actions.people import create_team


class Command(MemberCommand):
    help = "Make a team. The owner's password is read from LEAFSPAN_PASSWORD. Prints one JSON line of ids."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", required=True)
        parser.add_argument("--shop", required=True, help="name of the first shop")
        parser.add_argument("--username", required=True, help="the owner's login; may exist already")

    def handle(self, *args: object, name: str, shop: str, username: str, **options: object) -> None:
        self.make(lambda password: create_team(name=name, shop=shop, username=username, password=password))
