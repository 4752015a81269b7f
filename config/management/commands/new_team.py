"""``manage.py new_team``: a team with its first shop and its owner, from a script."""

import json
import os
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from teams.actions.people import create_team
from teams.errors import Refused


class Command(BaseCommand):
    help = "Make a team. The owner's password is read from LEAFSPAN_PASSWORD. Prints one JSON line of ids."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", required=True)
        parser.add_argument("--shop", required=True, help="name of the first shop")
        parser.add_argument("--username", required=True, help="the owner's login; may exist already")

    def handle(self, *args: Any, **options: Any) -> None:
        password = os.environ.get("LEAFSPAN_PASSWORD")
        if not password:
            raise CommandError("put the password in LEAFSPAN_PASSWORD")
        try:
            owner = create_team(
                name=options["name"], shop=options["shop"], username=options["username"], password=password
            )
        except Refused as refused:
            raise CommandError(
                "; ".join(f"{p.field}: {p.detail}" for p in refused.problems) or refused.detail
            ) from refused
        self.stdout.write(
            json.dumps({"team": str(owner.team_id), "shop": str(owner.shop_id), "user": str(owner.user_id)})
        )
