"""How much of the primary's work a replica takes off it, and what comparing the two costs a request.

Run from the repository root: ``python -m benchmarks.replica_reads``. Starts an installation without a replica, then a
cluster with one, each on a folder of its own, with the same lots and notes, and reads the same from both, again and
again, over HTTP. Prints for each kind of read the median time of a request and how much processor time the primary's
processes took for it. What is left of that with a replica is the sign-in and the state that is compared. Compare the
two columns of one run; the times themselves are this machine's. Linux only (/proc).
"""

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

from config.dev.leftovers import command_line
from table.phone import HttpTransport, MemoryStore, Phone
from tests.faults.consistency import figures_are_current
from tests.faults.installation import PASSWORD, Installation, started
from tests.faults.machines import Cell, Cluster

LOTS, POURS, WORDS = 60, 8, ("strength", "sweetness", "bitterness", "body", "aroma", "finish")


def fill(place: Installation) -> Phone:
    """Make a team with lots that were tasted once; return its phone when the figures are there."""
    place.manage("new_team", "--name", "Bench", "--shop", "Bench", "--username", "bench")
    phone = Phone(HttpTransport(place.url), store=MemoryStore())
    phone.sign_in(username="bench", password=PASSWORD)
    for i in range(LOTS):
        lot = phone.create("lot", {"name": f"Bench {i}", "kind": "oolong"})
        pot = {"lot": lot, "started_at": "2026-03-04T12:00:00Z", "leaf_g": 5, "vessel_ml": 110}
        session = phone.create("session", pot)
        for number in range(1, POURS + 1):
            pour = {"session": session, "number": number, "steep_s": 8 + 4 * number, "kettle_c": 97}
            infusion = phone.create("infusion", pour)
            for word in WORDS:
                note = {"session": session, "infusion": infusion, "moment": "mouth", "descriptor": word}
                phone.create("note", note | {"intensity": max(0, 8 - number)})
    phone.sync()
    if not figures_are_current(phone, limit_s=300):
        raise SystemExit("the figures are not there after five minutes")
    return phone


def reads_of(phone: Phone, url: str) -> dict[str, Callable[[], None]]:
    """Return what is read, by name."""
    state = phone._store.state  # noqa: SLF001 - its token and cursor, as the server gave them
    transport, cursor = HttpTransport(url), state.cursor
    lot, *_ = phone.records("lot")
    headers = {"Authorization": f"Bearer {state.token}", "Content-Type": "application/json"}

    def ask(method: str, path: str, body: dict[str, object] | None = None) -> None:
        sent = None if body is None else json.dumps(body).encode()
        answer = transport.send(method, path, headers=headers, body=sent)
        if answer.status != 200:
            raise SystemExit(f"{path}: {answer.status}")

    def pull(after: int) -> None:
        ask("POST", "/api/v1/sync", {"schema": 1, "device": phone.device, "cursor": after, "limit": 500})

    return {
        "pull, nothing new": lambda: pull(cursor),
        "pull of 500 records": lambda: pull(cursor - 2000),
        "API: the lots": lambda: ask("GET", "/api/v1/lots/"),
        "page of 40 lots": lambda: ask("GET", "/lots/"),
        "report as CSV": lambda: ask("GET", f"/lots/{lot.id}/report.csv"),
    }


def primary_ms(place: Installation) -> float:
    """Return the processor time that the primary's processes have taken so far, those that ended included. [ms]."""
    main = [pid for pid in place.processes("database") if f"{place.home}/postgres" in command_line(pid)]
    ticks = 0
    for pid in [*main, *(pid for pid, parent in place.family() if parent in main)]:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        ticks += sum(int(field) for field in fields[11 : 15 if pid in main else 13])  # see proc_pid_stat(5)
    return 1000 * ticks / os.sysconf("SC_CLK_TCK")


def measure(place: Installation, *, times: int) -> dict[str, tuple[float, float]]:
    """Return for each read the median time and the primary's time. [ms]."""
    phone, figures = fill(place), {}
    for name, read in reads_of(phone, place.url).items():
        for _ in range(20):  # each thread of the server connects
            read()
        before, took_s = primary_ms(place), []
        for _ in range(times):
            began = time.perf_counter()
            read()
            took_s.append(time.perf_counter() - began)
        figures[name] = (1000 * median(took_s), (primary_ms(place) - before) / times)
    return figures


def main() -> int:
    """Run both, one after the other."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=300, help="how often each is read")
    times = parser.parse_args().times
    columns = []
    for kind in (Cell, Cluster):
        with (
            tempfile.TemporaryDirectory(prefix="leafspan-replica-") as folder,
            started(kind(Path(folder), LEAFSPAN_REQUESTS_PER_MINUTE="1000000")) as place,
        ):
            columns.append(measure(place, times=times))
    alone, with_replica = columns
    print("| read | request, primary alone | with a replica | the primary's share, alone | with a replica | ratio |")
    print("| --- |" + " ---: |" * 5)
    for name, (request_ms, primary_ms) in alone.items():
        other_ms, other_primary_ms = with_replica[name]
        print(
            f"| {name} | {request_ms:.1f} ms | {other_ms:.1f} ms | {primary_ms:.2f} ms | {other_primary_ms:.2f} ms |"
            f" {other_primary_ms / primary_ms:.2f} |"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
