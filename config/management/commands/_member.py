"""What the commands that make a member share."""

import json
import os
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from teams.errors import Refused
from teams.models import Member


class MemberCommand(BaseCommand):
    """Makes a member with the password in LEAFSPAN_PASSWORD, and prints one JSON line of ids."""

    def make(self, *, password: str, options: dict[str, Any]) -> Member:
        """Make the member; raise Refused."""
        raise NotImplementedError

    def handle(self, *args: Any, **options: Any) -> None:
        password = os.environ.get("LEAFSPAN_PASSWORD")
        if not password:
            raise CommandError("put the password in LEAFSPAN_PASSWORD")
        try:
            member = self.make(password=password, options=options)
        except Refused as refused:
            raise CommandError(refused.reasons) from refused
        ids = {"team": str(member.team_id), "shop": str(member.shop_id), "user": str(member.user_id)}
        self.stdout.write(json.dumps(ids))
