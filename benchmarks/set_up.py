"""What the benchmarks of push, pull and jobs begin with: a migrated database, a team in it, a lot of that team."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING
from uuid import UUID, uuid4

from config.dev.services import Running, test_servers

if TYPE_CHECKING:
    from teams.models import Member

AT = "2026-03-04T12:00:00.000Z"


@contextmanager
def migrated_servers() -> Iterator[Running]:
    """Run on given or throw-away servers as the tables' owner, migrated and with the built-in descriptors."""
    with test_servers() as servers:
        os.environ |= servers.environment() | {"DJANGO_SETTINGS_MODULE": "config.settings"}
        import django  # the environment must name the servers first

        django.setup()
        from django.core.management import call_command

        from tastings.actions.lexicon import load_lexicon
        from teams.row_security import work_as_owner

        work_as_owner()
        call_command("migrate", interactive=False, verbosity=0)
        load_lexicon()
        yield servers


def new_owner(*, username: str = "", password: str = "") -> "Member":
    """Make a team; return its owner, by default with a login of no matter what name."""
    from teams.actions.people import create_team

    return create_team(
        name=f"Bench {uuid4()}",
        shop="Bench",
        username=username or f"b{uuid4().hex[:8]}",
        password=password or f"kettle {uuid4()}",
    )


def push_lots(member: "Member", n: int) -> list[UUID]:
    """Push so many lots; return their ids."""
    from django.utils import timezone

    from tastings.actions.push import push

    ids = [uuid4() for _ in range(n)]
    lots = [{"type": "lot", "id": str(lot), "at": AT, "fields": {"name": "Bench", "kind": "oolong"}} for lot in ids]
    for first in range(0, n, 500):
        push(member, device=uuid4(), sent=lots[first : first + 500], now=timezone.now())
    return ids
