"""What the commands that make a member share."""

import json
import os
from collections.abc import Callable

from django.core.management.base import BaseCommand, CommandError

from teams.errors import Refused
from teams.models import Member


class MemberCommand(BaseCommand):
    """Makes a member with the password in LEAFSPAN_PASSWORD, and prints one JSON line of ids."""

    def make(self, create: Callable[[str], Member]) -> None:
        """Make the member by ``create(password)``, which may raise Refused."""
        password = os.environ.get("LEAFSPAN_PASSWORD")
        if not password:
            raise CommandError("put the password in LEAFSPAN_PASSWORD")
        try:
            member = create(password)
        except Refused as refused:
            raise CommandError(refused.reasons) from refused
        ids = {"team": str(member.team_id), "shop": str(member.shop_id), "user": str(member.user_id)}
        self.stdout.write(json.dumps(ids))
