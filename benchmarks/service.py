"""A day's rush: 200 phones each write a session down and sync it, pour by pour, over ten minutes of service.

Run from the repository root: ``python -m benchmarks.service``. Starts a whole installation of its own, web, worker and
timetable included. Ten teams of twenty phones; each phone, the reference phone, brews one lot of eight infusions, a
minute and a quarter apart from a start of its own, and syncs after every pour: the infusion and 13 notes go out, what
the team's others wrote comes in. The phones of two teams are threads of one process: five processes in all.
``--faster 4`` plays the ten minutes in two and a half.

Prints the times of the syncs as the phones saw them, errors, and, as the floor, the same rows written and read back by
raw psycopg in the same run, alone on the same database: how much of a sync is the database's. Afterwards every team's
records are counted, and its lots' figures waited for.
"""

import argparse
import multiprocessing
import random
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from multiprocessing.synchronize import Barrier
from pathlib import Path
from statistics import median, quantiles
from uuid import uuid4

import psycopg
from psycopg.rows import dict_row
from psycopg.types.json import Jsonb

from config.dev.services import running
from table.phone import HttpTransport, MemoryStore, Phone
from tests.faults.consistency import figures_are_current
from tests.faults.installation import PASSWORD, Installation, installation

TEAMS, PER_TEAM, PROCESSES = 10, 20, 5
POURS = 8
WORDS = ("strength", "sweetness", "bitterness", "astringency", "body", "aroma", "finish", "roast", "sourness",
         "freshness", "orchid", "peach", "thin")  # fmt: skip
SERVICE_S = 600.0
PATIENCE_S = 600.0
"""Longest time that a process may take beyond the service itself. [s]"""
SYNCS = 200
"""Syncs that the floor plays."""


class Taster(threading.Thread):
    """One phone on one table."""

    def __init__(self, phone: Phone, *, lot: str, pace: float, seed: int) -> None:
        super().__init__(daemon=True)
        self._phone, self._lot, self._pace = phone, lot, pace
        self._rng = random.Random(seed)  # noqa: S311 - nothing secret
        self.took_s: list[float] = []
        self.written, self.trouble = 0, list[str]()

    def run(self) -> None:
        """Brew, write, sync; keep how long each sync took."""
        between = SERVICE_S / POURS * self._pace
        begun = time.monotonic() + self._rng.random() * between
        session = self._new("session", lot=self._lot, started_at="2026-03-04T12:00:00Z", leaf_g=5, vessel_ml=110)
        for number in range(1, POURS + 1):
            time.sleep(max(0.0, begun + (number - 1) * between * 0.98 - time.monotonic()))
            pour = self._new("infusion", session=session, number=number, steep_s=8 + 4 * number, kettle_c=97)
            for word in WORDS:
                rated = {"descriptor": word, "intensity": self._rng.randrange(101) / 10}
                self._new("note", session=session, infusion=pour, moment="mouth", **rated)
            begun_s = time.perf_counter()
            try:
                words = self._phone.sync().verdicts
            except Exception as error:  # noqa: BLE001 - counted and printed
                self.trouble.append(repr(error))
                continue
            self.took_s.append(time.perf_counter() - begun_s)
            if set(words) != {"applied"}:
                self.trouble.append(str(dict(words)))

    def _new(self, type_name: str, **fields: object) -> str:
        self.written += 1
        return self._phone.create(type_name, fields)


def floor_s(url: str) -> list[float]:
    """Write and read back the rows of one sync, as raw psycopg does it; return how long each took."""
    times_s = []
    with psycopg.connect(url, autocommit=True, row_factory=dict_row) as raw, raw.cursor() as cursor:
        like = {}
        for table, many in (("infusion", 1), ("note", len(WORDS))):
            cursor.execute(f"SELECT * FROM tastings_{table} LIMIT {many}")
            like[table] = [row | {"stamps": Jsonb(row["stamps"])} for row in cursor.fetchall()]
        revision = 2**60
        for _ in range(SYNCS):
            revision += 20
            # removed, or its number would be taken
            pour = like["infusion"][0] | {"id": uuid4(), "revision": revision, "removed": True}
            of = {"team_id": pour["team_id"], "session_id": pour["session_id"], "infusion_id": pour["id"]}
            notes = [row | of | {"id": uuid4(), "revision": revision + i} for i, row in enumerate(like["note"], 1)]
            begun = time.perf_counter()
            with raw.transaction():
                cursor.execute("SELECT 1 FROM teams_team WHERE id = %s FOR UPDATE", [pour["team_id"]])
                for table, rows in (("infusion", [pour]), ("note", notes)):
                    marks = ", ".join(f"({', '.join(['%s'] * len(row))})" for row in rows)
                    values = [value for row in rows for value in row.values()]
                    cursor.execute(f"INSERT INTO tastings_{table} ({', '.join(rows[0])}) VALUES {marks}", values)
            cursor.execute(
                "SELECT * FROM tastings_note WHERE team_id = %s AND revision > %s ORDER BY revision LIMIT 500",
                [pour["team_id"], revision],
            )
            cursor.fetchall()
            times_s.append(time.perf_counter() - begun)
    return times_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The phones of one team."""

    team: int
    lot: str


@dataclass(slots=True)
class Outcome:
    """What the phones of one process saw."""

    took_s: list[float] = field(default_factory=list)
    written: dict[int, int] = field(default_factory=dict)
    """Records by team."""
    trouble: list[str] = field(default_factory=list)


def phone_of(url: str, *, team: int) -> Phone:
    """Return a phone that is signed in and has synced."""
    phone = Phone(HttpTransport(url), store=MemoryStore())
    phone.sign_in(username=f"bench{team}", password=PASSWORD)
    phone.sync()
    return phone


def play(
    url: str, tables: list[Table], *, pace: float, start: Barrier, outcomes: "multiprocessing.Queue[Outcome]"
) -> None:
    """Play the phones of some teams in a process of their own."""
    outcome, tasters = Outcome(), dict[int, list[Taster]]()
    for table in tables:
        tasters[table.team] = [
            Taster(phone_of(url, team=table.team), lot=table.lot, pace=pace, seed=table.team * PER_TEAM + number)
            for number in range(PER_TEAM)
        ]
    start.wait()
    everybody = [taster for at_table in tasters.values() for taster in at_table]
    for taster in everybody:
        taster.start()
    for taster in everybody:
        taster.join()
        outcome.took_s += taster.took_s
        outcome.trouble += taster.trouble
    outcome.written = {team: sum(taster.written for taster in at_table) for team, at_table in tasters.items()}
    outcomes.put(outcome)


def serve(place: Installation, *, faster: float) -> int:
    """Play the service and print what came of it; return how many things went wrong."""
    tables, watchers = list[Table](), list[Phone]()
    for team in range(TEAMS):
        place.manage("new_team", "--name", f"Bench {team}", "--shop", "Bench", "--username", f"bench{team}")
        phone = phone_of(place.url, team=team)
        tables.append(Table(team=team, lot=phone.create("lot", {"name": "Bench", "kind": "oolong"})))
        phone.sync()
        watchers.append(phone)
    context = multiprocessing.get_context("spawn")
    start, outcomes = context.Barrier(PROCESSES + 1, timeout=PATIENCE_S), context.Queue()
    for number in range(PROCESSES):
        arguments = {"pace": 1 / faster, "start": start, "outcomes": outcomes}
        context.Process(target=play, args=(place.url, tables[number::PROCESSES]), kwargs=arguments, daemon=True).start()
    start.wait()
    print(f"  {TEAMS * PER_TEAM} phones signed in", file=sys.stderr, flush=True)
    begun = time.monotonic()
    results = [outcomes.get(timeout=SERVICE_S / faster + PATIENCE_S) for _ in range(PROCESSES)]
    service_s = time.monotonic() - begun
    stale = sum(not figures_are_current(watcher, limit_s=30) for watcher in watchers)
    missing = 0
    for team, watcher in enumerate(watchers):
        watcher.sync()
        n_received = sum(len(watcher.records(name)) for name in ("session", "infusion", "note"))
        missing += sum(outcome.written.get(team, 0) for outcome in results) - n_received
    trouble = [text for outcome in results for text in outcome.trouble]
    took = [s for outcome in results for s in outcome.took_s]
    servers = running(place.home)
    if servers is None:
        raise SystemExit("the servers are gone")
    floor = median(floor_s(servers.database_url))
    print("| phones | syncs | minutes | errors | records missing | stale lots | median | p95 | worst | floor |"
          " floor's share of the median |\n|" + " ---: |" * 11)  # fmt: skip
    print(
        f"| {TEAMS * PER_TEAM} | {len(took)} | {service_s / 60:.1f} | {len(trouble)} | {missing} | {stale} |"
        f" {1000 * median(took):.0f} ms | {1000 * quantiles(took, n=20)[-1]:.0f} ms | {1000 * max(took):.0f} ms |"
        f" {1000 * floor:.1f} ms | {100 * floor / median(took):.0f} % |"
    )
    for text in trouble[:5]:
        print(text)
    return len(trouble) + missing + stale


def main() -> int:
    """Run it on an installation of its own."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--faster", type=float, default=1.0, help="play the ten minutes so many times as fast")
    faster = parser.parse_args().faster
    with tempfile.TemporaryDirectory(prefix="leafspan-service-") as folder, installation(Path(folder)) as place:
        return 1 if serve(place, faster=faster) else 0


if __name__ == "__main__":
    sys.exit(main())
