"""What a note costs the store, and how much of it each piece of work touches: the figures of docs/growth.md.

Run from the repository root: ``python -m benchmarks.store``; a few minutes, most of them filling. Starts its own
throw-away servers unless ``DATABASE_URL`` and ``REDIS_URL`` are set. Two teams share the tables and their sessions are
written in turns, as in a company's database. Printed are bytes per note of every table and index that grows with notes,
and for each piece of work the pages of 8 kB that it reads or writes (``EXPLAIN (ANALYZE, BUFFERS)``): counts, which
depend on no machine, at a small store and at the whole one.
"""

import argparse
import json
import sys
from typing import Any
from uuid import UUID, uuid4

from benchmarks.set_up import migrated_servers, new_owner, push_lots
from benchmarks.sync_growth import BASE, FILL

TABLES = ("tastings_session", "tastings_infusion", "tastings_note")
SIZES = """
SELECT relname, pg_relation_size(oid), 'rows' FROM pg_class WHERE relname = ANY(%(tables)s)
UNION ALL SELECT i.relname, pg_relation_size(i.oid), 'index' FROM pg_index AS x JOIN pg_class AS i ON i.oid = indexrelid
WHERE indrelid = ANY (SELECT oid FROM pg_class WHERE relname = ANY(%(tables)s))
"""
LOTS = 40
"""Of a team for every 10,000 notes: a lot is tasted two or three times."""
QUERIES = {
    "pull a page of 500 notes": (
        "SELECT * FROM tastings_note WHERE team_id = %(team)s AND revision > %(middle)s ORDER BY revision LIMIT 501"
    ),
    "find a push's 100 notes by id": "SELECT * FROM tastings_note WHERE id = ANY(%(ids)s)",
    "read a lot's notes for its figures": (
        "SELECT n.* FROM tastings_session AS s JOIN tastings_note AS n ON n.session_id = s.id WHERE s.lot_id = %(lot)s"
    ),
    "find tombstones older than 400 days": (
        "SELECT id FROM tastings_note WHERE team_id = %(team)s AND removed AND updated_at < now() - interval '400 days'"
    ),
    "the same without the index of them": (
        "SELECT id FROM tastings_note WHERE team_id = %(team)s AND removed::int = 1"
        " AND updated_at < now() - interval '400 days'"
    ),
}


def pages(plan: dict[str, Any]) -> int:
    return sum(int(plan.get(f"Shared {how} Blocks", 0)) for how in ("Hit", "Read"))


def run(sizes: tuple[int, ...]) -> None:
    """Fill, look, fill on, look again, print."""
    from django.db import connection  # the environment must name the servers first

    from tastings.models import Descriptor

    word = Descriptor.objects.filter(team=None).values_list("id", flat=True)[0]
    teams = [new_owner(), new_owner()]
    pages_of: dict[str, list[int]] = {name: [] for name in QUERIES}
    rows = {table: [0] * len(sizes) for table in TABLES}
    session, lot = 0, uuid4()
    for at, notes in enumerate(sizes):
        while session * 100 < notes:
            for member in teams:  # a lot of two or three sessions
                [lot] = push_lots(member, 1)
                upto = session + 10_000 // 100 // LOTS
                of: dict[str, Any] = {
                    "team": member.team_id,
                    "user": member.user_id,
                    "lot": lot,
                    "word": word,
                    "base": member.team.first_revision + BASE + LOTS,
                }
                with connection.cursor() as cursor:
                    cursor.execute(FILL, of | {"first": session + 1, "last": upto})
                session = upto
        with connection.cursor() as cursor:
            cursor.execute("UPDATE tastings_note SET removed = true WHERE revision %% 50 = 7 AND NOT removed", [])
            cursor.execute("VACUUM ANALYZE tastings_session, tastings_infusion, tastings_note")
            team = teams[0].team_id
            cursor.execute("SELECT (min(revision) + max(revision)) / 2 FROM tastings_note WHERE team_id = %s", [team])
            middle = cursor.fetchone()[0]
            cursor.execute("SELECT id FROM tastings_note WHERE team_id = %s ORDER BY md5(id::text) LIMIT 100", [team])
            values = {
                "team": team,
                "middle": middle,
                "lot": lot,
                "ids": [UUID(str(note)) for (note,) in cursor.fetchall()],
            }
            for name, query in QUERIES.items():
                cursor.execute(f"EXPLAIN (ANALYZE, BUFFERS, FORMAT JSON) {query}", values)
                plan = cursor.fetchone()[0]
                pages_of[name].append(pages((json.loads(plan) if isinstance(plan, str) else plan)[0]["Plan"]))
            for table in TABLES:
                cursor.execute(f"SELECT count(*) FROM {table}")
                rows[table][at] = cursor.fetchone()[0]
        print(f"  {notes:,} notes looked at", file=sys.stderr, flush=True)
    with connection.cursor() as cursor:
        cursor.execute(SIZES, {"tables": list(TABLES)})
        sizes_found = cursor.fetchall()
    of_notes = rows["tastings_note"][-1]
    print("| what | bytes per note |\n| --- | ---: |")
    for name, size, _ in sorted(sizes_found, key=lambda row: -row[1]):
        print(f"| `{name}` | {size / of_notes:.0f} |")
    print(f"| all | {sum(size for _, size, _ in sizes_found) / of_notes:.0f} |")
    print(f"\n| pages of 8 kB touched | {' | '.join(f'{n:,} notes' for n in sizes)} |\n| --- | {'---: |' * len(sizes)}")
    for name, counts in pages_of.items():
        print(f"| {name} | {' | '.join(f'{count:,}' for count in counts)} |")


def main() -> int:
    """Run it on given or throw-away servers."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--notes", type=int, nargs="+", default=[20_000, 500_000])
    options = parser.parse_args()
    with migrated_servers():
        run(tuple(sorted(options.notes)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
