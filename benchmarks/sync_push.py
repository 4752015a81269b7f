"""A pushed session against the same rows written by raw psycopg, and against a push that says nothing new.

Run from the repository root: ``python -m benchmarks.sync_push``. Starts its own throw-away servers unless
``DATABASE_URL`` and ``REDIS_URL`` are set. One push is one session: 8 infusions and 100 notes, as JSON text in, answer
as JSON text out. The floor writes the very rows that a push stored, in one transaction with one statement per table,
constraints and all. Pushes and pulls are also done as the owner, to whom row-level security does not apply: what it
costs. The whole of a sync is one POST to the web server in processes of its own: a signed-in phone on a kept-alive
connection sends a session as the app does and reads the answer. Whatever pushes, the lot's figures count as up to date
before, so that each push enqueues their job, as a session of a lot that nobody else is tasting does. Medians over
interleaved rounds of one run; the fastest tenth, which other work on the machine disturbs less; and the median
processor time of client, web server, database and broker together, which it disturbs least, but in which waiting does
not show. Prints a markdown table of ratios.
"""

import argparse
import json
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from statistics import median, quantiles
from time import perf_counter
from typing import TYPE_CHECKING, cast
from uuid import uuid4

from benchmarks.processor_time import processor_s_of
from benchmarks.set_up import AT, migrated_servers, new_owner, push_lots
from benchmarks.web_server import SyncingPhone, web_server
from config.dev.services import Running
from config.web.garbage import collect_less

if TYPE_CHECKING:
    from teams.postgresql.base import DatabaseWrapper


def session_body(lot: str, keys: list[str], *, at: str = AT) -> list[dict[str, object]]:
    """Return a session of 8 infusions and 100 notes as a phone sends it."""
    session, changes = str(uuid4()), list[dict[str, object]]()

    def add(type_name: str, **fields: object) -> str:
        record_id = str(uuid4())
        changes.append({"type": type_name, "id": record_id, "at": at, "fields": fields})
        return record_id

    session = add("session", lot=lot, started_at=at, leaf_g=5, vessel_ml=110, vessel_material="porcelain", warmed=True)
    pours = [add("infusion", session=session, number=n, steep_s=8 + 4 * n, pour_s=9, kettle_c=98) for n in range(1, 9)]
    for i in range(100):
        add(
            "note",
            session=session,
            infusion=pours[i % 8],
            moment="mouth",
            descriptor=keys[i // 8],
            intensity=(37 * i % 101) / 10,
        )
    return changes


def run(rounds: int, servers: Running) -> None:
    """Measure on a migrated, empty database and print the table."""
    from django.db import connection, connections  # the environment must name the servers first
    from django.db.models import F
    from django.utils import timezone

    from tastings.actions.lexicon import LEXICON
    from tastings.actions.push import push
    from tastings.jobs import delayed_jobs
    from tastings.models import Development, Infusion, Note, Session
    from tastings.queries.pull import pull
    from teams.row_security import acting_for, limit_changes_to, role

    collect_less()  # as the web server does
    database = cast("DatabaseWrapper", connections["default"])
    username, password = f"b{uuid4().hex[:8]}", f"kettle {uuid4()}"
    member = new_owner(username=username, password=password)
    device, began = uuid4(), member.team.first_revision
    lot = str(push_lots(member, 1)[0])
    keys = [word["key"] for word in json.loads(LEXICON.read_text("utf-8"))["descriptors"][:13]]

    def pushed(text: str) -> str:
        with delayed_jobs():  # a sync sends them after its answer; here nobody would take them
            verdicts = push(member, device=device, sent=json.loads(text), now=timezone.now()).verdicts
        return json.dumps([verdict.as_json() for verdict in verdicts])

    def pulled(cursor: int) -> str:
        return json.dumps(pull(member, cursor=cursor, limit=500).changes)

    def copy_of(session: str) -> Callable[[], None]:
        """Return a writer of the session's rows under new ids, from values already at hand."""
        statements = []
        with connection.cursor() as cursor:
            for model, where in ((Session, "id"), (Infusion, "session_id"), (Note, "session_id")):
                table = model._meta.db_table
                names = [str(field.column) for field in model._meta.concrete_fields]
                cursor.execute(f"SELECT {', '.join(names)} FROM {table} WHERE {where} = %s", [session])
                statements.append((table, names, cursor.fetchall()))
            cursor.execute("UPDATE teams_team SET revision = revision + 109 WHERE id = %s", [member.team_id])
            cursor.execute("SELECT revision FROM teams_team WHERE id = %s", [member.team_id])
            revision = cursor.fetchone()[0] - 109
        renamed: dict[object, object] = {}
        rows_of = []
        for table, names, rows in statements:
            fresh = []
            for row in rows:
                values = dict(zip(names, row, strict=True))
                renamed[values["id"]] = values["id"] = uuid4()
                revision += 1
                values["revision"] = revision
                for name in ("session_id", "infusion_id"):
                    if name in values:
                        values[name] = renamed[values[name]]
                fresh.append(tuple(values.values()))
            rows_of.append((table, names, fresh))

        def write() -> None:
            with connection.cursor() as outer:
                raw = outer.connection
                with raw.transaction(), raw.cursor() as cursor:
                    cursor.execute("SELECT 1 FROM teams_team WHERE id = %s FOR UPDATE", [member.team_id])
                    for table, names, fresh in rows_of:
                        marks = ", ".join(f"({', '.join(['%s'] * len(names))})" for _ in fresh)
                        flat = [value for row in fresh for value in row]
                        cursor.execute(f"INSERT INTO {table} ({', '.join(names)}) VALUES {marks}", flat)

        return write

    names = ("raw", "push", "open push", "again", "pull", "open pull", "http")
    times: dict[str, list[float]] = {name: [] for name in names}
    processor_times: dict[str, list[float]] = {name: [] for name in names}

    def figures_done() -> None:
        """Store what a worker would, after which the next push enqueues a job."""
        Development.objects.filter(lot_id=lot).update(computed_revision=F("due_revision"), asked_at=None)

    def timed(name: str, work: Callable[[], object]) -> None:
        def clocked() -> None:
            begun = perf_counter()
            work()
            times[name].append(perf_counter() - begun)

        processor_times[name].append(processor_s_of(clocked))

    def with_row_security(name: str, work: Callable[[], object]) -> None:
        database.role = role()
        with acting_for(member.team_id):
            limit_changes_to(member.user_id)  # as a taster's requests are
            timed(name, work)
        database.role = ""

    with web_server(servers) as url:
        phone = SyncingPhone(url, username=username, password=password)
        for number in range(rounds + 3):
            text = json.dumps(session_body(lot, keys))
            open_text = json.dumps(session_body(lot, keys))
            with_row_security("push", partial(pushed, text))
            figures_done()
            timed("open push", partial(pushed, open_text))
            with_row_security("again", partial(pushed, text))
            timed("raw", copy_of(json.loads(text)[0]["id"]))
            with_row_security("pull", partial(pulled, began + 4 * 109 * number))
            timed("open pull", partial(pulled, began + 4 * 109 * number))
            phone.catch_up()
            figures_done()
            body = phone.body(session_body(lot, keys, at=datetime.now(UTC).isoformat().replace("+00:00", "Z")))
            timed("http", partial(phone.sync, body))
            figures_done()
            if number < 3:  # first rounds warm caches
                for values in (*times.values(), *processor_times.values()):
                    values.clear()
        phone.close()
    floor, quick_floor = median(times["raw"]), quantiles(times["raw"], n=10)[0]
    processor_floor = median(processor_times["raw"])
    print("| what, one session of 109 records | median | by the floor | a tenth takes at most | by the floor", end="")
    print(" | processor time | by the floor |\n| --- | ---: | ---: | ---: | ---: | ---: | ---: |")
    for name, label in (
        ("raw", "floor: the same rows by raw psycopg"),
        ("push", "push: decode, check, merge, stamp, store, answer"),
        ("open push", "the same by the owner, without row-level security"),
        ("again", "the same push again: everything unchanged"),
        ("pull", "pull of those records and as many others as JSON"),
        ("open pull", "the same by the owner"),
        ("http", "POST /api/v1/sync through the web server: token, push, pull, answer"),
    ):
        usual, quick = median(times[name]), quantiles(times[name], n=10)[0]
        processor = median(processor_times[name])
        print(
            f"| {label} | {1000 * usual:.1f} ms | {usual / floor:.1f}"
            f" | {1000 * quick:.1f} ms | {quick / quick_floor:.1f}"
            f" | {1000 * processor:.1f} ms | {processor / processor_floor:.1f} |"
        )


def main() -> int:
    """Run it on given or throw-away servers."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=40)
    rounds = parser.parse_args().rounds
    with migrated_servers() as servers:
        run(rounds, servers)
    return 0


if __name__ == "__main__":
    sys.exit(main())
