"""``python -m tests.faults.cluster``: kill machines of a cluster in turn under many phones, then check every record.

A web server, a worker and the replica of `config.dev.cluster` are killed one after the other and come back. Each
request goes to one of the two web servers, drawn anew, and every answer is compared with the earlier ones: no cursor
and no record's revision may run backwards. Linux only (/proc).

LEAFSPAN_PHONES says how many phones, LEAFSPAN_MINUTES how long, LEAFSPAN_SEED chooses the same kills again.
"""

import gzip
import json
import os
import random
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections import Counter
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from statistics import median, quantiles
from typing import Any

from config.dev.cluster import MACHINES
from config.dev.leftovers import command_line
from config.dev.process import free_port
from table.phone import Response, UnreachableError
from tests.config.launching import eventually
from tests.faults.__main__ import CLOCK_OFFSETS, FIGURES_S, PHOTOS_S, print_line, report
from tests.faults.consistency import check_photos, check_records, figures_are_current, new_phone
from tests.faults.installation import Installation, is_ready, started
from tests.faults.tasters import CountingTransport, SimulatedTaster

PER_TEAM, LOTS = 20, 3
WAIT_OF_PHONE_S = 0.6
"""So long, times the number of phones, is the longest wait of one between two rounds: together three a second."""
KILLS_APART_S = 12.0
KILLED = ("web 1", "worker 1", "replica", "web 2", "worker 2", "replica")
SYNC = "/api/v1/sync"


class Cluster(Installation):
    """A running `config.dev.cluster`."""

    command = "cluster"

    def __init__(self, home: Path) -> None:
        super().__init__(home)
        self.urls = (self.url, f"http://127.0.0.1:{self.port + 1}")

    def _launch(self) -> "subprocess.Popen[str]":
        while not _is_free(self.port + 1):
            self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        return self._launch_under([], LEAFSPAN_REQUESTS_PER_MINUTE="1000000")

    def ready(self) -> bool:
        """Whether both web servers serve requests and a worker answers."""
        return all(map(is_ready, self.urls))

    def kill_all_of(self, name: str) -> int:
        """Kill all processes of a machine's web server or worker, or the replica; return how many."""
        kind, _, number = name.partition(" ")
        home = self.home / (MACHINES[int(number) - 1] if number else "replica")
        mark = f"LEAFSPAN_HOME={home}".encode()
        program = {"web": "gunicorn", "worker": "celery", "replica": f"{home}/postgres"}[kind]
        pids = [
            pid
            for pid, _ in self.family()
            if program in (line := command_line(pid)) and " beat" not in line
            and (kind == "replica" or mark in _environment(pid))
        ]  # fmt: skip
        return sum(self.kill(pid) for pid in pids)

    def replica_reads(self) -> Counter[str]:
        """Return how many reads that a replica may answer each server answered, since the web servers started."""
        found: Counter[str] = Counter()
        for url in self.urls:
            with suppress(OSError), urllib.request.urlopen(f"{url}/metrics", timeout=10) as answer:  # noqa: S310
                for line in answer.read().decode().splitlines():
                    if line.startswith("leafspan_replica_reads_total"):
                        found[line.split('"')[1]] += int(float(line.split()[-1]))
        return found


def _is_free(port: int) -> bool:
    with socket.socket() as trial:
        return trial.connect_ex(("127.0.0.1", port)) != 0


def _environment(pid: int) -> list[bytes]:
    try:
        return Path(f"/proc/{pid}/environ").read_bytes().split(b"\0")
    except OSError:
        return []


class EitherServer(CountingTransport):
    """Sends each request to one of two servers and compares each answer with those before."""

    def __init__(self, urls: tuple[str, str], rng: random.Random) -> None:
        super().__init__(urls[0])
        self._other, self._rng = CountingTransport(urls[1]), rng
        self.cursor = 0
        self.revisions: dict[str, int] = {}
        self.backwards: list[str] = []
        self.took_s: list[float] = []
        self.pulls = 0

    def send(self, method: str, path: str, *, headers: Mapping[str, str], body: bytes | None) -> Response:
        """Send once."""
        began = time.perf_counter()
        if self._rng.random() < 0.5:
            answer = self._other.send(method, path, headers=headers, body=body)
        else:
            answer = super().send(method, path, headers=headers, body=body)
        if answer.status == 410:
            self.backwards.append(f"{path}: asked to start again")
        if answer.status == 200 and path == SYNC and body is not None:
            self.took_s.append(time.perf_counter() - began)
            sent = json.loads(gzip.decompress(body))
            self.pulls += not sent["changes"]
            self._compare_pull(sent["cursor"], _json(answer))
        return answer

    def _compare_pull(self, sent: int, answer: Mapping[str, Any]) -> None:
        cursor, changes = answer["cursor"], answer["changes"]
        if cursor < self.cursor:
            self.backwards.append(f"cursor {cursor} after {self.cursor}")
        self.cursor = max(cursor, self.cursor)
        for change in changes:
            if change["revision"] <= sent:
                self.backwards.append(f"revision {change['revision']} pulled after cursor {sent}")
            self.compare(change["id"], change["revision"])

    def compare(self, record: str, revision: int) -> None:
        """Note the revision at which a record was seen, and whether it was seen at a later one before."""
        if revision < self.revisions.get(record, 0):
            self.backwards.append(f"{record} at revision {revision} after {self.revisions[record]}")
        self.revisions[record] = max(revision, self.revisions.get(record, 0))

    def totals(self) -> Counter[str]:
        """Return how many requests were cut off or answered with 5xx."""
        both = (self, self._other)
        return Counter(
            {"cut off": sum(one.dropped for one in both), "answers 5xx": sum(one.server_errors for one in both)}
        )

    def close(self) -> None:
        """Close both connections."""
        super().close()
        self._other.close()


def _json(answer: Response) -> dict[str, Any]:
    packed = answer.headers.get("content-encoding") == "gzip"
    return dict(json.loads(gzip.decompress(answer.body) if packed else answer.body))


class WatchingTaster(SimulatedTaster):
    """Also pulls without changes and reads one of its notes, each of which a replica may answer."""

    transport: EitherServer
    begins_at = 0
    """Where the team's counter stood when it had tasted nothing."""

    def __init__(self, urls: tuple[str, str], *, longest_wait_s: float, **more: Any) -> None:
        self._urls, self.longest_wait_s = urls, longest_wait_s
        super().__init__(urls[0], **more)

    def _open_transport(self, url: str) -> EitherServer:
        return EitherServer(self._urls, self.rng)

    def sync(self) -> bool:
        """Sync, then read."""
        done = super().sync()
        if done:
            super().sync()
            self._read_a_note()
        return done

    def _read_a_note(self) -> None:
        if not self._notes:
            return
        note = self.rng.choice(self._notes)
        token = self.phone._store.state.token
        with suppress(UnreachableError):
            answer = self.transport.send(
                "GET", f"/api/v1/notes/{note}/", headers={"Authorization": f"Bearer {token}"}, body=None
            )
            if answer.status == 404:
                self.errors.append(f"{self.username}: note {note} was acknowledged and is not there")
            elif answer.status == 200:
                self.transport.compare(note, _json(answer)["revision"])


def kill_in_turn(place: Cluster, *, seconds: float, rng: random.Random) -> tuple[Counter[str], Counter[str]]:
    """Kill one after the other for so long; return how often each was killed, and who answered reads."""
    killed, reads = Counter[str](), Counter[str]()
    ends_at, turn = time.monotonic() + seconds, 0
    while time.monotonic() < ends_at:
        time.sleep(KILLS_APART_S * rng.uniform(0.7, 1.3))
        name = KILLED[turn % len(KILLED)]
        turn += 1
        if name.startswith("web"):  # its counts end with it
            before = place.replica_reads()
            killed[name] += bool(place.kill_all_of(name))
            reads += before - place.replica_reads()
        else:
            killed[name] += bool(place.kill_all_of(name))
        print_line(f"  killed {name} ({killed.total()} in all)")
    return killed, reads + place.replica_reads()


def main() -> int:
    """Run it; return 0 if nothing was lost or applied twice and nothing ran backwards."""
    seed = int(os.environ.get("LEAFSPAN_SEED") or random.SystemRandom().randrange(10**6))
    phones, minutes = int(os.environ.get("LEAFSPAN_PHONES") or 400), float(os.environ.get("LEAFSPAN_MINUTES") or 5)
    home = Path(tempfile.mkdtemp(prefix="leafspan-cluster-faults-"))
    print_line(f"{phones} phones, {minutes} minutes, LEAFSPAN_SEED={seed}, in {home}")
    with started(Cluster(home)) as place:
        errors = _run(place, phones=phones, seconds=60 * minutes, seed=seed)
    return report(errors, home=home, success="nothing acknowledged was lost, nothing came twice, nothing ran backwards")


def _run(place: Cluster, *, phones: int, seconds: float, seed: int) -> list[str]:
    teams = [_team(place, number, phones=min(PER_TEAM, phones - PER_TEAM * number), of=phones, seed=seed)
             for number in range(-(-phones // PER_TEAM))]  # fmt: skip
    tasters = [taster for team in teams for taster in team]
    stop = threading.Event()
    threads = [threading.Thread(target=taster.run, args=(stop,)) for taster in tasters]
    for thread in threads:
        thread.start()
    print_line(f"  {len(tasters)} phones signed in and at work")
    killed, reads = kill_in_turn(place, seconds=seconds, rng=random.Random(seed))
    stop.set()
    for thread in threads:
        thread.join()
    if not eventually(place.ready, seconds=120):
        return ["the cluster is not ready again within two minutes"]
    with ThreadPoolExecutor(16) as pool:
        unsent = [
            taster.username
            for _ in range(2)  # the second time to pull what the others sent in the first
            for taster, done in zip(
                tasters, pool.map(lambda one: eventually(one.sync, seconds=120), tasters), strict=True
            )
            if not done
        ]
        errors = [f"{name} cannot send everything" for name in unsent]
        for found in pool.map(lambda team: _check(place, team), teams):
            errors += found
    errors += [f"{one.username}: {line}" for one in tasters for line in one.transport.backwards]
    _print_summary(tasters, killed=killed, reads=reads)
    return errors + [error for taster in tasters for error in taster.errors]


def _team(place: Cluster, number: int, *, phones: int, of: int, seed: int) -> list[WatchingTaster]:
    """Make a team with one login and its phones, the first of which has made the lots."""
    username = f"taster-{number}"
    place.manage("new_team", "--name", f"Tasters {number}", "--shop", "Ford", "--username", username)
    made: list[WatchingTaster] = []
    for i in range(phones):
        folder = place.home / "phones" / f"{number}-{i}"
        folder.mkdir(parents=True)
        made.append(
            WatchingTaster(
                place.urls, longest_wait_s=WAIT_OF_PHONE_S * of, folder=folder, username=username,
                clock_offset=CLOCK_OFFSETS[i % len(CLOCK_OFFSETS)], seed=seed + 1000 * number + i,
            )
        )  # fmt: skip
    made[0].sync()
    made[0].begins_at = made[0].phone._store.state.cursor
    made[0].begin(LOTS)
    for taster in made[1:]:
        taster.sync()
    return made


def _check(place: Cluster, team: list[WatchingTaster]) -> list[str]:
    phone = new_phone(place.url, username=team[0].username)
    errors = [] if figures_are_current(phone, limit_s=FIGURES_S) else [f"{team[0].username}: figures are stale"]
    errors += check_records(phone, team, revision=phone._store.state.cursor - team[0].begins_at)
    return errors + check_photos(phone, team, limit_s=PHOTOS_S)


def _print_summary(tasters: list[WatchingTaster], *, killed: Counter[str], reads: Counter[str]) -> None:
    totals = sum((taster.transport.totals() for taster in tasters), Counter[str]())
    took_s = [s for taster in tasters for s in taster.transport.took_s]
    pulls = sum(taster.transport.pulls for taster in tasters)
    print_line(f"  killed: {', '.join(f'{n} times {name}' for name, n in killed.items())}")
    given_up = sum(taster.failed_syncs for taster in tasters)
    print_line(
        f"  {totals['cut off']} requests cut off, {totals['answers 5xx']} answers 5xx, {given_up} syncs given up"
    )
    print_line(f"  {len(took_s)} syncs, {pulls} of them without changes; median {1000 * median(took_s):.0f} ms,"
               f" 95 % within {1000 * quantiles(took_s, n=20)[-1]:.0f} ms")  # fmt: skip
    print_line(
        f"  reads that a replica may answer: {reads['replica']} by the replica, {reads['primary']} by the primary"
    )
    print_line(f"  {sum(len(taster.acknowledged) for taster in tasters)} changes acknowledged,"
               f" {sum(len(taster.photos) for taster in tasters)} photos")  # fmt: skip


if __name__ == "__main__":
    sys.exit(main())
