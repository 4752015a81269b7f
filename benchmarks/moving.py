"""How fast a team moves to another cell, how long it is frozen, and what asking "does it live here?" costs a push.

Run from the repository root: ``python -m benchmarks.moving``; about three minutes. Starts its own throw-away servers
unless ``DATABASE_URL`` and ``REDIS_URL`` are set; the two cells are two databases of one server. Teams of different
sizes move while nothing else happens. Beside it stands the floor: the same sessions, infusions and notes by raw COPY
into empty tables with the same indexes and keys. Pushes of one session with and without other cells take turns.
Prints a markdown table.
"""

import argparse
import sys
import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any
from uuid import UUID, uuid4

import psycopg

from benchmarks.set_up import migrated_servers, new_owner, push_lots
from benchmarks.store import TABLES
from benchmarks.sync_growth import BASE, FILL
from benchmarks.sync_push import session_body

SIZES = (2_000, 20_000, 200_000)
PUSHES = 60


def run(sizes: tuple[int, ...], *, pushes: int) -> None:
    """Fill, move, print."""
    other = _second_database()
    print("| notes | rows moved | rows/s | raw COPY took | frozen |\n| ---: | ---: | ---: | ---: | ---: |")
    for notes in sizes:
        print(_moved(notes, other))
    print(f"\nA push took {_push_ratio(pushes):.2f} times as long beside other cells (median of {pushes} pairs).")


def _second_database() -> str:
    """Make a second database like the first; return its address."""
    from django.db import connection

    from config.cells.move import _own_database

    connection.close()
    name, own = f"cell_{uuid4().hex[:8]}", _own_database()
    maintenance = psycopg.conninfo.make_conninfo(own, dbname="postgres")
    with psycopg.connect(maintenance, autocommit=True) as session:
        first = psycopg.conninfo.conninfo_to_dict(own)["dbname"]
        session.execute(f'CREATE DATABASE {name} TEMPLATE "{first}"'.encode())
    return psycopg.conninfo.make_conninfo(own, dbname=name)


def _moved(notes: int, other: str) -> str:
    from django.test import override_settings

    from config.cells.move import TargetCell, move_team
    from tastings.models.photo_folder import FolderStore

    team = _filled(notes)
    floor_s = _raw_copy_s(other, team)
    with tempfile.TemporaryDirectory() as folder, override_settings(CELL="a", CELLS={"b": "http://b"}):
        store = FolderStore(folder=Path(folder), leave_free_bytes=0)
        moved = move_team(team, TargetCell(cell="b", database=other, photos=store), store, log=lambda _line: None)
    return (
        f"| {notes} | {moved.rows} | {moved.sent / moved.copy_s:.0f} | {floor_s / moved.copy_s:.2f} of the time"
        f" | {moved.frozen_s:.2f} s |"
    )


def _filled(notes: int) -> UUID:
    from django.db import connection

    from tastings.models import Descriptor

    member = new_owner()
    [lot] = push_lots(member, 1)
    of: dict[str, Any] = {
        "team": member.team_id, "user": member.user_id, "lot": lot, "base": member.team.first_revision + BASE,
        "word": Descriptor.objects.filter(team=None).values_list("id", flat=True)[0],
        "first": 1 + notes * 10, "last": notes * 10 + notes // 100,
    }  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute(FILL, of)
        cursor.execute("VACUUM ANALYZE tastings_session, tastings_infusion, tastings_note")
    return member.team_id


def _raw_copy_s(other: str, team: UUID) -> float:
    """Return how long raw COPY takes with the same rows."""
    from config.cells.move import _own_database

    with psycopg.connect(_own_database()) as local, psycopg.connect(other) as remote:
        for table in TABLES:
            remote.execute(f"CREATE TABLE raw_{table} (LIKE {table} INCLUDING ALL)".encode())
        began = perf_counter()
        for table in TABLES:
            out = f"COPY (SELECT * FROM {table} WHERE team_id = '{team}') TO STDOUT (FORMAT binary)"
            into = f"COPY raw_{table} FROM STDIN (FORMAT binary)"
            with local.cursor().copy(out.encode()) as rows, remote.cursor().copy(into.encode()) as written:
                for piece in rows:
                    written.write(piece)
        took_s = perf_counter() - began
        remote.rollback()
    return took_s


def _push_ratio(pushes: int) -> float:
    """Return how much longer a push takes beside other cells."""
    from django.db import connection
    from django.test import override_settings
    from django.utils import timezone

    from tastings.actions.push import push
    from tastings.models import Descriptor
    from teams.row_security import acting_for, role

    member = new_owner()
    [lot] = push_lots(member, 1)
    keys = list(Descriptor.objects.filter(team=None).order_by("position").values_list("key", flat=True)[:13])
    ratios = []
    for _ in range(pushes):
        took = []
        for others in ({}, {"b": "http://b"}):
            body = session_body(str(lot), keys)
            with override_settings(CELL="a", CELLS=others), acting_for(member.team_id):
                connection.role = role()  # type: ignore[attr-defined]
                began = perf_counter()
                push(member, device=uuid4(), sent=body, now=timezone.now())
                took.append(perf_counter() - began)
        ratios.append(took[1] / took[0])
    return median(ratios)


def main() -> None:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--pushes", type=int, default=PUSHES)
    arguments = parser.parse_args()
    with migrated_servers():
        run(tuple(arguments.sizes), pushes=arguments.pushes)
    sys.stdout.flush()


if __name__ == "__main__":
    main()
