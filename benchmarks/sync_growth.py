"""Whether sync stays as fast as a team's store grows: push and pull at 10 thousand and at 2 million notes.

Run from the repository root: ``python -m benchmarks.sync_growth``; about ten minutes, most of them filling. Starts its
own throw-away servers unless ``DATABASE_URL`` and ``REDIS_URL`` are set. Two databases on one server hold the same
team, with few notes and with many; blocks of rounds on the one and the other alternate, so that whatever else the
machine does bears on both.

A push is one session of 8 infusions and 100 notes as JSON text in and out; its floor writes rows of the same shape by
raw psycopg in one transaction, one statement a table. A pull is one page of 500 records from the middle of the store,
as JSON; its floor reads the same columns of the same rows by raw psycopg, one keyset query a table, and writes the
records that a phone gets as JSON. Prints a markdown table.
"""

import argparse
import json
import sys
from functools import partial
from statistics import median
from time import perf_counter
from typing import Any
from uuid import UUID, uuid4

from benchmarks.set_up import migrated_servers, new_owner, push_lots
from benchmarks.sync_push import session_body

FILL = """
INSERT INTO tastings_session (id, team_id, revision, removed, stamps, by_id, created_at, updated_at, lot_id, taster_id,
    started_at, leaf_g, vessel_ml, vessel_material, water, purpose, ending, private, shared_once, remarks)
SELECT md5('s' || i)::uuid, %(team)s, %(base)s + i * 110, false, '[]', %(user)s, now(), now(), %(lot)s, %(user)s,
    now(), 5, 110, '', '', '', '', false, true, '' FROM generate_series(%(first)s, %(last)s) AS i;
INSERT INTO tastings_infusion (id, team_id, revision, removed, stamps, by_id, created_at, updated_at, author_id,
    session_id, number, steep_s, kettle_c, remarks)
SELECT md5('i' || i || '.' || n)::uuid, %(team)s, %(base)s + i * 110 + n, false, '[]', %(user)s, now(), now(), %(user)s,
    md5('s' || i)::uuid, n, 10 + n, 98, ''
FROM generate_series(%(first)s, %(last)s) AS i, generate_series(1, 8) AS n;
INSERT INTO tastings_note (id, team_id, revision, removed, stamps, by_id, created_at, updated_at, author_id,
    session_id, infusion_id, moment, descriptor_id, intensity, text)
SELECT md5('n' || i || '.' || k)::uuid, %(team)s, %(base)s + i * 110 + 8 + k, false,
    '[["2026-03-04T12:00:00.000000Z", "01990000-0000-7000-8000-000000000001", "x", "", ["descriptor", "moment"]]]',
    %(user)s, now(), now(), %(user)s, md5('s' || i)::uuid, md5('i' || i || '.' || (1 + k %% 8))::uuid, 'mouth',
    %(word)s, (k %% 101) / 10.0, ''
FROM generate_series(%(first)s, %(last)s) AS i, generate_series(1, 100) AS k;
UPDATE teams_team SET revision = %(base)s + (%(last)s + 1) * 110 WHERE id = %(team)s;
"""
BASE = 10
"""Revisions of the team that come before the filled ones."""
SIZES = (10_000, 2_000_000)
_HEAD = "id, team_id, revision, removed, stamps, by_id, created_at, updated_at"
COLUMNS = {
    "session": f"{_HEAD}, lot_id, taster_id, started_at, leaf_g, vessel_ml, vessel_material, water, purpose, ending,"
    " private, shared_once, remarks",
    "infusion": f"{_HEAD}, author_id, session_id, number, steep_s, kettle_c, remarks",
    "note": f"{_HEAD}, author_id, session_id, infusion_id, moment, descriptor_id, intensity, text",
}


def _fill(connection: Any, notes: int, *, filled: int, say: str, of: dict[str, Any]) -> None:  # noqa: ANN401 - Django's
    """Fill a team's store up to so many notes."""
    with connection.cursor() as cursor:
        for first in range(filled // 100 + 1, notes // 100 + 1, 1000):
            last = min(first + 999, notes // 100)
            cursor.execute(FILL, of | {"first": first, "last": last})
            if last % 2000 == 0 or last == notes // 100:
                print(f"  {say}: {last * 100:,} of {notes:,} notes", file=sys.stderr, flush=True)
        cursor.execute("VACUUM ANALYZE tastings_session, tastings_infusion, tastings_note")


def run(sizes: tuple[int, ...], blocks: int) -> None:
    """Fill, measure, print."""
    from django.db import connection  # the environment must name the servers first
    from django.utils import timezone

    from lots.models.wire import TO_WIRE, column_name
    from tastings.actions.lexicon import LEXICON
    from tastings.actions.push import push
    from tastings.models import Descriptor, Infusion, Note, Session
    from tastings.queries.pull import pull

    member = new_owner()
    lot = str(push_lots(member, 1)[0])
    keys = [word["key"] for word in json.loads(LEXICON.read_text("utf-8"))["descriptors"][:13]]
    words = dict(Descriptor.objects.filter(team=None).values_list("key", "id"))
    base = member.team.first_revision + BASE
    of = {"team": member.team_id, "user": member.user_id, "lot": UUID(lot), "word": words[keys[0]], "base": base}
    home = connection.settings_dict["NAME"]
    databases = {notes: f"{home}_{notes}" for notes in sizes}

    def go_to(name: str) -> None:
        connection.close()
        connection.settings_dict["NAME"] = name

    smallest, filled = min(sizes), 0
    for notes in sorted(sizes):
        go_to("postgres")
        template = home if notes == smallest else databases[smallest]
        with connection.cursor() as cursor:
            cursor.execute(f'DROP DATABASE IF EXISTS "{databases[notes]}" WITH (FORCE)')
            cursor.execute(f'CREATE DATABASE "{databases[notes]}" TEMPLATE "{template}"')
        go_to(databases[notes])
        _fill(connection, notes, filled=filled, say=databases[notes], of=of)
        filled = smallest

    def pushed(text: str) -> str:
        verdicts = push(member, device=uuid4(), sent=json.loads(text), now=timezone.now()).verdicts
        return json.dumps([verdict.as_json() for verdict in verdicts])

    def written(sent: list[dict[str, Any]]) -> None:
        """Write the rows of a session that nobody checks."""
        now, revision = timezone.now(), int(perf_counter() * 1e6) + 10**12
        rows: dict[str, list[tuple[object, ...]]] = {"session": [], "infusion": [], "note": []}
        for i, change in enumerate(sent):
            f = change["fields"]
            head = (change["id"], member.team_id, revision + i, False, "[]", member.user_id, now, now)
            match change["type"]:
                case "session":
                    rows["session"].append((*head, lot, member.user_id, now, f["leaf_g"], f["vessel_ml"], "porcelain",
                                            "", "", "", False, True, ""))  # fmt: skip
                case "infusion":
                    poured = (f["session"], f["number"], f["steep_s"], f["kettle_c"], "")
                    rows["infusion"].append((*head, member.user_id, *poured))
                case _:
                    noted = (f["session"], f["infusion"], "mouth", words[f["descriptor"]], f["intensity"], "")
                    rows["note"].append((*head, member.user_id, *noted))
        with connection.cursor() as outer, outer.connection.transaction(), outer.connection.cursor() as cursor:
            cursor.execute("SELECT 1 FROM teams_team WHERE id = %s FOR UPDATE", [member.team_id])
            for name, columns in COLUMNS.items():
                marks = ", ".join(f"({', '.join(['%s'] * len(row))})" for row in rows[name])
                flat = [value for row in rows[name] for value in row]
                cursor.execute(f"INSERT INTO tastings_{name} ({columns}) VALUES {marks}", flat)

    def pulled(cursor: int) -> str:
        page = pull(member, cursor=cursor, limit=500)
        assert len(page.changes) == 500  # noqa: S101 - else it measures something else
        return json.dumps(page.changes)

    selects = []
    for model in (Session, Infusion, Note):
        schema, table = model.schema, model._meta.db_table
        names = ["w.key" if field.kind == "key" else f"r.{column_name(field)}" for field in schema.fields]
        extra = ["r.taster_id"] if model is Session else []
        join = " JOIN tastings_descriptor AS w ON w.id = r.descriptor_id" if model is Note else ""
        query = (
            f"SELECT r.id, r.revision, r.removed, r.by_id, {', '.join([*names, *extra])} FROM {table} AS r{join}"
            " WHERE r.team_id = %s AND r.revision > %s ORDER BY r.revision LIMIT 501"
        )
        selects.append((schema, query, tuple((f.name, TO_WIRE[f.kind]) for f in schema.fields)))

    def read_rows(cursor: int) -> str:
        rows = []
        with connection.cursor() as outer, outer.connection.cursor() as raw:
            for schema, query, encoders in selects:
                raw.execute(query, [member.team_id, cursor])
                rows += [(row[1], schema.type, row, encoders) for row in raw.fetchall()]
        rows.sort(key=lambda row: row[0])
        return json.dumps(
            [
                {"type": kind, "id": str(row[0]), "revision": revision, "deleted": row[2], "by": str(row[3]),
                 "fields": {name: encode(value) for (name, encode), value in zip(encoders, row[4:], strict=False)}}
                for revision, kind, row, encoders in rows[:500]
            ]
        )  # fmt: skip

    times: dict[int, dict[str, list[float]]] = {n: {k: [] for k in ("push", "write", "pull", "read")} for n in sizes}
    for block in range(blocks):
        for notes in sizes:
            go_to(databases[notes])
            for number in range(-3, 10):  # the first three after a connection warm it up
                middle = base + notes // 100 * 55 + 100 * (number % 7)
                bodies = [session_body(lot, keys) for _ in range(2)]
                for name, work in (
                    ("push", partial(pushed, json.dumps(bodies[0]))),
                    ("write", partial(written, bodies[1])),
                    ("pull", partial(pulled, middle)),
                    ("read", partial(read_rows, middle)),
                ):
                    begun = perf_counter()
                    work()
                    if number >= 0:
                        times[notes][name].append(perf_counter() - begun)
        print(f"  block {block + 1} of {blocks} measured", file=sys.stderr, flush=True)
    _print_results({notes: {name: median(values) for name, values in of.items()} for notes, of in times.items()})


def _print_results(medians: dict[int, dict[str, float]]) -> None:
    small = medians[min(medians)]
    print("| notes in the store | push of 109 | to its floor | to the smaller store | pull of 500 | to its floor |"
          " to the smaller store |")  # fmt: skip
    print("| ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    for notes, of in medians.items():
        print(
            f"| {notes:,} | {1000 * of['push']:.1f} ms | {of['push'] / of['write']:.2f} |"
            f" {of['push'] / small['push']:.2f} | {1000 * of['pull']:.1f} ms | {of['pull'] / of['read']:.2f} |"
            f" {of['pull'] / small['pull']:.2f} |"
        )


def main() -> int:
    """Run it on given or throw-away servers."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--blocks", type=int, default=6, help="of ten rounds on each store")
    parser.add_argument("--notes", type=int, nargs=2, default=SIZES)
    options = parser.parse_args()
    with migrated_servers():
        run(tuple(options.notes), options.blocks)
    return 0


if __name__ == "__main__":
    sys.exit(main())
