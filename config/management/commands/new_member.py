"""``manage.py new_member``: another member of a team, from a script."""

import json
import os
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from teams.actions.people import create_member
from teams.errors import Refused
from teams.models import Role
from teams.queries.people import team_by_id_or_name


class Command(BaseCommand):
    help = "Give a login a place in a team. The password is read from LEAFSPAN_PASSWORD. Prints one JSON line of ids."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--team", required=True, help="id, or name if there is one of that name")
        parser.add_argument("--shop", required=True, help="id or name of one of the team's shops; a new name opens one")
        parser.add_argument("--username", required=True)
        parser.add_argument("--role", required=True, choices=Role.values)

    def handle(self, *args: Any, **options: Any) -> None:
        password = os.environ.get("LEAFSPAN_PASSWORD")
        if not password:
            raise CommandError("put the password in LEAFSPAN_PASSWORD")
        try:
            member = create_member(
                team=team_by_id_or_name(options["team"]),
                shop=options["shop"],
                username=options["username"],
                password=password,
                role=options["role"],
            )
        except Refused as refused:
            raise CommandError(
                "; ".join(f"{p.field}: {p.detail}" for p in refused.problems) or refused.detail
            ) from refused
        ids = {"team": str(member.team_id), "shop": str(member.shop_id), "user": str(member.user_id)}
        self.stdout.write(json.dumps(ids))
