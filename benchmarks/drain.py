"""Whether one team's thousand refits hold up another's fresh tasting, and whether two workers do twice the work of one.

Run from the repository root: ``python -m benchmarks.drain``; some minutes. Starts its own throw-away servers unless
``DATABASE_URL`` and ``REDIS_URL`` are set. Two parts, with real workers that share nothing but the servers:

*Fresh while draining*: one team has 5,000 lots due, and the worker of ``make run`` (two processes) works on them, the
timetable beside it. Meanwhile another team's phone pushes a session every 0.6 s, each of another lot. The result is
the time from before the push until its figures are there, with and without the other team's jobs.

*Two workers*: so many lots by one worker of one process, and by two such workers, in turns. Prints lots per
second, their ratio, and how many jobs a lot took. If the load average shows that the machine was busy otherwise, the
ratio says little.
"""

import argparse
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from statistics import median
from uuid import UUID, uuid4

from benchmarks.set_up import AT, migrated_servers, new_owner, push_lots
from config.dev.home import ROOT

KEYS = ("strength", "sweetness", "honey")
EVERY_S = 0.6
CELERY = (sys.executable, "-m", "celery", "--quiet", "-A", "config")


def tasting(lot: UUID) -> list[dict[str, object]]:
    """Return a session of 6 infusions, three words noted of each, as a phone sends it."""
    changes = list[dict[str, object]]()

    def add(type_name: str, **fields: object) -> str:
        changes.append({"type": type_name, "id": str(uuid4()), "at": AT, "fields": fields})
        return str(changes[-1]["id"])

    session = add("session", lot=str(lot), started_at=AT, leaf_g=5, vessel_ml=110, vessel_material="porcelain")
    for n in range(1, 7):
        pour = add("infusion", session=session, number=n, steep_s=8 + 4 * n, pour_s=9, kettle_c=98)
        for i, key in enumerate(KEYS):
            rated = {"descriptor": key, "intensity": (3 * n + lot.int + i) % 11}
            add("note", session=session, infusion=pour, moment="mouth", **rated)
    return changes


@contextmanager
def processes(*commands: tuple[str, ...]) -> Iterator[list["subprocess.Popen[bytes]"]]:
    """Run Celery commands; end them in the end."""
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONWARNINGS": "ignore"}
    running = [
        subprocess.Popen([*CELERY, *command], cwd=ROOT, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for command in commands
    ]
    try:
        yield running
    finally:
        for process in running:
            process.terminate()
        for process in running:
            process.wait(timeout=60)


def worker(name: str, *, concurrency: int) -> tuple[str, ...]:
    return ("worker", "-n", f"{name}@bench", "--concurrency", str(concurrency), "--without-gossip", "--without-mingle")


def run(*, lots: int, seconds: float, n_fresh: int, pairs: int) -> None:
    """Fill, measure, print."""
    from celery import current_app  # the environment must name the servers first
    from django.db import connection
    from django.db.models import F
    from django.utils import timezone

    from tastings.actions.push import push
    from tastings.job_metrics import job_metrics
    from tastings.jobs import Job
    from tastings.models import Development
    from teams.models import Member

    def pushed(member: Member, changes: list[dict[str, object]]) -> None:
        sent = json.loads(json.dumps(changes))
        verdicts = push(member, device=uuid4(), sent=sent, now=timezone.now()).verdicts
        assert all(verdict.verdict == "applied" for verdict in verdicts), verdicts  # noqa: S101 - else it measures nothing

    def left(member: Member) -> int:
        return Development.objects.filter(team=member.team_id, due_revision__gt=F("computed_revision")).count()

    def all_due(member: Member, n: int) -> None:
        """Make the first lots due and no others, with no job asked for, as after a restore."""
        current_app.control.purge()
        of_team = Development.objects.filter(team=member.team_id)
        of_team.update(asked_at=None, computed_revision=F("due_revision"))
        of_team.filter(lot_id__in=list(of_team.order_by("lot_id").values_list("lot_id", flat=True)[:n])).update(
            computed_revision=0, started_at=None
        )
        with connection.cursor() as cursor:  # throw-away servers do not vacuum by themselves
            cursor.execute("VACUUM ANALYZE tastings_development")

    def ready(n: int, running: list["subprocess.Popen[bytes]"]) -> None:
        while len(current_app.control.ping(timeout=1.0)) < n:
            assert all(process.poll() is None for process in running), "a worker ended at its start"  # noqa: S101
            time.sleep(0.1)

    def fresh_s(member: Member, lot: UUID) -> float:
        """Push a session; return how long until the lot's figures have it."""
        begun = time.perf_counter()
        pushed(member, tasting(lot))
        while Development.objects.filter(lot=lot, due_revision__gt=F("computed_revision")).exists():
            time.sleep(0.01)
        return time.perf_counter() - begun

    def waits_s(member: Member, lots_of: list[UUID], *, for_s: float) -> list[float]:
        waits, until = [], time.perf_counter() + for_s
        while time.perf_counter() < until and lots_of:
            waits.append(fresh_s(member, lots_of.pop()))
            time.sleep(max(0.0, EVERY_S - waits[-1]))
        return waits

    def print_row(name: str, waits: list[float], drained: str) -> None:
        p95 = sorted(waits)[int(0.95 * len(waits))]
        print(f"| {name} | {len(waits)} | {median(waits):.2f} s | {p95:.2f} s | {max(waits):.2f} s | {drained} |")

    def jobs() -> int:
        return job_metrics()[Job.REFRESH_DEVELOPMENT.value].outcomes.get("done", 0)

    print(f"load average at the beginning: {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors\n")
    many, other = new_owner(), new_owner()
    print(f"filling {lots} lots …", file=sys.stderr, flush=True)
    theirs = push_lots(many, lots)
    for first in range(0, lots, 40):
        pushed(many, [change for lot in theirs[first : first + 40] for change in tasting(lot)])
    ours = push_lots(other, 2 * int(seconds / EVERY_S) + 10)

    print(
        "| fresh tasting | pushes | median | p95 | worst | drained meanwhile |\n"
        "| --- | ---: | ---: | ---: | ---: | ---: |"
    )
    all_due(many, 0)
    with processes(
        worker("one", concurrency=2), ("beat", "--schedule", f"{os.environ['LEAFSPAN_HOME']}/beat", "--pidfile=")
    ) as running:
        ready(1, running)
        waits_s(other, ours, for_s=3)
        print_row("nothing else to do", waits_s(other, ours, for_s=seconds / 3), "none")
        all_due(many, lots)
        while left(many) == lots:
            time.sleep(0.05)
        before, begun = left(many), time.perf_counter()
        waits = waits_s(other, ours, for_s=seconds)
        drained, took = before - left(many), time.perf_counter() - begun
        print_row(f"{lots:,} lots due", waits, f"{drained} lots, {drained / took:.1f} a second")
        assert left(many) > 0, "the lots were done before the pushes were"  # noqa: S101 - else it measures nothing

    rates: dict[int, list[float]] = {1: [], 2: []}
    per_lot: dict[int, list[float]] = {1: [], 2: []}
    for _ in range(pairs):
        for n in (1, 2):
            all_due(many, n_fresh)
            with processes(*(worker(f"w{i}", concurrency=1) for i in range(n))) as running:
                ready(n, running)
                for _ in range(20):  # each process opens its connections and builds what fits share
                    current_app.send_task(Job.DUE_PHOTOS.value)
                time.sleep(2)
                before, begun = jobs(), time.perf_counter()
                current_app.send_task(Job.REFRESH_DUE.value)
                while left(many):
                    time.sleep(0.5)  # each look takes processor time that two workers need
                rates[n].append(n_fresh / (time.perf_counter() - begun))
                per_lot[n].append((jobs() - before) / n_fresh)
    print(f"\n| workers | {n_fresh} lots, a second | jobs per lot |\n| ---: | ---: | ---: |")
    for n in (1, 2):
        print(f"| {n} | {median(rates[n]):.1f} | {median(per_lot[n]):.3f} |")
    ratios = sorted(two / single for single, two in zip(rates[1], rates[2], strict=True))
    print(f"\ntwo to one: {median(ratios):.2f} (pairs from {ratios[0]:.2f} to {ratios[-1]:.2f})")


def main() -> int:
    """Run it on given or throw-away servers."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lots", type=int, default=5000)
    parser.add_argument("--seconds", type=float, default=90)
    parser.add_argument("--few", dest="n_fresh", type=int, default=400, help="lots of the second part")
    parser.add_argument("--pairs", type=int, default=5)
    options = parser.parse_args()
    with migrated_servers():
        run(lots=options.lots, seconds=options.seconds, n_fresh=options.n_fresh, pairs=options.pairs)
    return 0


if __name__ == "__main__":
    sys.exit(main())
