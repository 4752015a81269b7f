"""Whether sync stays as fast as a team's store grows: push and pull at 10 thousand and at 2 million notes.

Run from the repository root: ``python -m benchmarks.sync_growth``. Starts its own throw-away servers unless
``DATABASE_URL`` and ``REDIS_URL`` are set. A push is one session of 8 infusions and 100 notes with its lot; a pull is
one page of 500 records from the middle of the store, as JSON. The floor of the pull reads the same rows by raw psycopg
in the same run, one keyset query per table, and writes them as JSON. Prints a markdown table.
"""

import argparse
import json
import os
import sys
from collections.abc import Callable
from functools import partial
from statistics import median
from time import perf_counter
from typing import Any
from uuid import UUID, uuid4

from benchmarks.sync_push import session_body
from config.dev.services import test_servers

FILL = """
INSERT INTO tastings_session (id, team_id, revision, removed, stamps, by_id, created_at, updated_at, lot_id, taster_id,
    started_at, leaf_g, vessel_ml, vessel_material, water, purpose, ending, private, shared_once, remarks)
SELECT md5('s' || i)::uuid, %(team)s, %(base)s + i * 110, false, '[]', %(user)s, now(), now(), %(lot)s, %(user)s,
    now(), 5, 110, '', '', '', '', false, true, '' FROM generate_series(%(first)s, %(last)s) AS i;
INSERT INTO tastings_infusion (id, team_id, revision, removed, stamps, by_id, created_at, updated_at, session_id,
    number, steep_s, kettle_c, remarks)
SELECT md5('i' || i || '.' || n)::uuid, %(team)s, %(base)s + i * 110 + n, false, '[]', %(user)s, now(), now(),
    md5('s' || i)::uuid, n, 10 + n, 98, ''
FROM generate_series(%(first)s, %(last)s) AS i, generate_series(1, 8) AS n;
INSERT INTO tastings_note (id, team_id, revision, removed, stamps, by_id, created_at, updated_at, session_id,
    infusion_id, moment, descriptor_id, intensity, text)
SELECT md5('n' || i || '.' || k)::uuid, %(team)s, %(base)s + i * 110 + 8 + k, false,
    '[["2026-03-04T12:00:00.000000Z", "01990000-0000-7000-8000-000000000001", "x", "", ["descriptor", "moment"]]]',
    %(user)s, now(), now(), md5('s' || i)::uuid, md5('i' || i || '.' || (1 + k %% 8))::uuid, 'mouth', %(word)s,
    (k %% 101) / 10.0, ''
FROM generate_series(%(first)s, %(last)s) AS i, generate_series(1, 100) AS k;
UPDATE teams_team SET revision = %(base)s + (%(last)s + 1) * 110 WHERE id = %(team)s;
"""
SIZES = (10_000, 2_000_000)


def run(sizes: tuple[int, ...], rounds: int) -> None:
    """Fill, measure, print."""
    import django  # the environment must name the servers first

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.utils import timezone

    from tastings.actions.lexicon import LEXICON, load_lexicon
    from tastings.actions.push import push
    from tastings.models import Descriptor, Infusion, Note, Session
    from tastings.queries.pull import pull
    from teams.actions.people import new_team

    call_command("migrate", interactive=False, verbosity=0)
    load_lexicon()
    member = new_team(
        name=f"Bench {uuid4()}", shop="Bench", username=f"b{uuid4().hex[:8]}", password=f"kettle {uuid4()}"
    )
    lot = str(uuid4())
    made = [{"type": "lot", "id": lot, "at": "2026-03-04T12:00:00Z", "fields": {"name": "Bench", "kind": "oolong"}}]
    push(member, device=uuid4(), sent=made, now=timezone.now())
    keys = [word["key"] for word in json.loads(LEXICON.read_text("utf-8"))["descriptors"][:13]]
    word = Descriptor.objects.get(team=None, key=keys[0]).id

    def pushed(text: str) -> str:
        verdicts = push(member, device=uuid4(), sent=json.loads(text), now=timezone.now())
        return json.dumps([verdict.as_json() for verdict in verdicts])

    def pulled(cursor: int) -> str:
        page = pull(member, cursor=cursor, limit=500)
        assert len(page.changes) == 500  # noqa: S101 - else it measures something else
        return json.dumps(page.changes)

    def floor(cursor: int) -> str:
        rows: list[tuple[Any, ...]] = []
        with connection.cursor() as outer, outer.connection.cursor() as cursor_:
            for model in (Session, Infusion, Note):
                names = ", ".join(
                    str(field.column) for field in model._meta.concrete_fields if field.column != "stamps"
                )
                cursor_.execute(
                    f"SELECT revision, {names} FROM {model._meta.db_table}"
                    " WHERE team_id = %s AND revision > %s ORDER BY revision LIMIT 501",
                    [member.team_id, cursor],
                )
                rows += cursor_.fetchall()
        rows.sort(key=lambda row: int(row[0]))
        return json.dumps(rows[:500], default=str)

    results: dict[int, dict[str, float]] = {}
    filled = 0
    for notes in sizes:
        sessions = notes // 100
        print(f"filling up to {notes} notes …", file=sys.stderr, flush=True)
        with connection.cursor() as cursor:
            cursor.execute("SELECT revision FROM teams_team WHERE id = %s", [member.team_id])
            base = cursor.fetchone()[0] - filled * 110
            for first in range(filled + 1, sessions + 1, 1000):
                last = min(first + 999, sessions)
                fill: dict[str, Any] = {"team": member.team_id, "user": member.user_id, "lot": UUID(lot), "word": word}
                cursor.execute(FILL, fill | {"base": base, "first": first, "last": last})
                print(f"  {last * 100} notes", file=sys.stderr, flush=True)
            cursor.execute("VACUUM ANALYZE tastings_session, tastings_infusion, tastings_note")
        filled = sessions
        times: dict[str, list[float]] = {"push": [], "pull": [], "floor": []}

        def timed(name: str, work: Callable[[], object], into: dict[str, list[float]] = times) -> None:
            begun = perf_counter()
            work()
            into[name].append(perf_counter() - begun)

        for number in range(rounds + 3):
            middle = base + sessions * 55 + 100 * (number % 7)
            timed("push", partial(pushed, json.dumps(session_body(lot, keys))))
            timed("pull", partial(pulled, middle))
            timed("floor", partial(floor, middle))
            if number < 3:
                for values in times.values():
                    values.clear()
        results[notes] = {name: median(values) for name, values in times.items()}
    small = results[sizes[0]]
    print("| notes in the store | push of 109 | to the smaller store | pull of 500 | to the smaller | to raw psycopg |")
    print("| ---: | ---: | ---: | ---: | ---: | ---: |")
    for notes, found in results.items():
        print(
            f"| {notes:,} | {1000 * found['push']:.1f} ms | {found['push'] / small['push']:.2f} |"
            f" {1000 * found['pull']:.1f} ms | {found['pull'] / small['pull']:.2f} |"
            f" {found['pull'] / found['floor']:.1f} |"
        )


def main() -> int:
    """Run it on given or throw-away servers."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=30)
    parser.add_argument("--notes", type=int, nargs=2, default=SIZES)
    given = parser.parse_args()
    with test_servers() as found:
        os.environ |= found.environment() | {"DJANGO_SETTINGS_MODULE": "config.settings"}
        run(tuple(given.notes), given.rounds)
    return 0


if __name__ == "__main__":
    sys.exit(main())
