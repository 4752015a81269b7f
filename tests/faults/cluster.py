"""``python -m tests.faults.cluster``: kill machines and moves in turn under many phones, then check every record.

A web server, a worker and the replica of `config.dev.cluster` are killed one after the other and come back. Meanwhile
teams move to a second installation and back, one after the other, and the command that moves them is killed too. Each
request goes to one of the cluster's two web servers, drawn anew, and every answer is compared with the earlier ones: no
cursor and no record's revision may run backwards, and every 5xx must be a 503 that says when to come back. A browser of
each team stays signed in. Linux only (/proc).

LEAFSPAN_PHONES says how many phones, LEAFSPAN_MINUTES how long, LEAFSPAN_SEED chooses the same kills again.
"""

import os
import random
import sys
import tempfile
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from secrets import token_hex
from statistics import median, quantiles

from config.dev.process import free_port
from tests.config.launching import eventually
from tests.faults.__main__ import CLOCK_OFFSETS, FIGURES_S, PHOTOS_S, as_text, print_line, report
from tests.faults.consistency import check_photos, check_records, figures_are_current, new_phone
from tests.faults.installation import started
from tests.faults.machines import Cell, Cluster, two_free_ports
from tests.faults.moving import Mover
from tests.faults.watching import WatchingTaster
from tests.faults.ways_in import browser_signed_in, failing_ways, is_signed_in

PER_TEAM, LOTS = 20, 3
WAIT_OF_PHONE_S = 0.6
"""So long, times the number of phones, is the longest wait of one between two rounds: together three a second."""
KILLS_APART_S = 12.0
KILLED = ("web 1", "worker 1", "replica", "web 2", "worker 2", "replica")


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
    phones, minutes = int(os.environ.get("LEAFSPAN_PHONES") or 400), float(os.environ.get("LEAFSPAN_MINUTES") or 6)
    home = Path(tempfile.mkdtemp(prefix="leafspan-cluster-faults-"))
    print_line(f"{phones} phones, {minutes} minutes, LEAFSPAN_SEED={seed}, in {home}")
    ports = {"a": two_free_ports(), "b": free_port()}
    shared = {
        "LEAFSPAN_SECRET_KEY": token_hex(32),
        "LEAFSPAN_CELLS": ",".join(f"{name}=http://127.0.0.1:{port}" for name, port in ports.items()),
        "LEAFSPAN_REQUESTS_PER_MINUTE": "1000000",
    }
    for name in ports:
        (home / name).mkdir()
    with (
        started(Cluster(home / "a", port=ports["a"], LEAFSPAN_CELL="a", **shared)) as a,
        started(Cell(home / "b", port=ports["b"], LEAFSPAN_CELL="b", **shared)) as b,
    ):
        errors = _run(a, b, phones=phones, seconds=60 * minutes, seed=seed)
    return report(errors, home=home, success="nothing acknowledged was lost, nothing came twice, nothing ran backwards")


def _run(place: Cluster, second: Cell, *, phones: int, seconds: float, seed: int) -> list[str]:
    teams = dict(_team(place, number, phones=min(PER_TEAM, phones - PER_TEAM * number), of=phones, seed=seed)
                 for number in range(-(-phones // PER_TEAM)))  # fmt: skip
    tasters = [taster for team in teams.values() for taster in team]
    browsers = {team[0].username: browser_signed_in(place.url, team[0].username) for team in teams.values()}
    mover = Mover({"a": place, "b": second}, teams, rng=random.Random(seed))
    stop, stop_moving = threading.Event(), threading.Event()
    moving = threading.Thread(target=mover.run, args=(stop_moving,))
    threads = [threading.Thread(target=taster.run, args=(stop,)) for taster in tasters]
    for thread in (*threads, moving):
        thread.start()
    print_line(f"  {len(tasters)} phones signed in and at work")
    killed, reads = kill_in_turn(place, seconds=seconds, rng=random.Random(seed))
    stop_moving.set()
    moving.join()
    stop.set()
    for thread in threads:
        thread.join()
    if not eventually(lambda: place.ready() and second.ready(), seconds=120):
        return ["the cluster is not ready again within two minutes"]
    away = min(mover.moved) if mover.moved else next(iter(teams))
    mover.move(away, "b")  # where it stays
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
        for found in pool.map(lambda team: _check(place, team), teams.values()):
            errors += found
    errors += [
        f"the browser of {name} is signed out"
        for name, browser in browsers.items()
        for url in place.urls
        if not is_signed_in(browser, url, name)
    ]
    username = teams[away][0].username
    owner = new_phone(place.url, username=username)
    errors += [
        f"did not lead to the team in cell b: {way}" for way in failing_ways(place.url, owner, username=username)
    ]
    for one in tasters:
        errors += [
            f"{one.username}: {line}" for line in (*one.transport.backwards, *one.transport.unpromised_answers())
        ]
    _print_summary(tasters, killed=killed, reads=reads)
    _print_moves(mover)
    return errors + mover.errors + [error for taster in tasters for error in taster.errors]


def _team(place: Cluster, number: int, *, phones: int, of: int, seed: int) -> tuple[str, list[WatchingTaster]]:
    """Make a team with one login and its phones, the first of which has made the lots; return its id and them."""
    username = f"taster-{number}"
    team = place.manage("new_team", "--name", f"Tasters {number}", "--shop", "Ford", "--username", username)["team"]
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
    eventually(made[0].sync, seconds=60)
    made[0].begins_at = made[0].phone._store.state.cursor
    made[0].begin(LOTS)
    for taster in made:
        eventually(taster.sync, seconds=60)
    return team, made


def _check(place: Cluster, team: list[WatchingTaster]) -> list[str]:
    phone = new_phone(place.url, username=team[0].username)
    errors = [] if figures_are_current(phone, limit_s=FIGURES_S) else [f"{team[0].username}: figures are stale"]
    errors += check_records(phone, team, revision=phone._store.state.cursor - team[0].begins_at)
    return errors + check_photos(phone, team, limit_s=PHOTOS_S)


def _print_summary(tasters: list[WatchingTaster], *, killed: Counter[str], reads: Counter[str]) -> None:
    totals = sum((taster.transport.totals() for taster in tasters), Counter[str]())
    took_s = [s for taster in tasters for s in taster.transport.took_s]
    pulls = sum(taster.transport.pulls for taster in tasters)
    print_line(f"  killed: {as_text(killed)}")
    given_up = sum(taster.failed_syncs for taster in tasters)
    print_line(f"  {totals.pop('cut off', 0)} requests cut off, {given_up} syncs given up; 5xx: {as_text(totals)}")
    print_line(f"  {len(took_s)} syncs, {pulls} of them without changes; median {1000 * median(took_s):.0f} ms,"
               f" 95 % within {1000 * quantiles(took_s, n=20)[-1]:.0f} ms")  # fmt: skip
    print_line(
        f"  reads that a replica may answer: {reads['replica']} by the replica, {reads['primary']} by the primary"
    )
    again = sum(taster.already_known for taster in tasters)
    print_line(f"  {sum(len(taster.acknowledged) for taster in tasters)} changes acknowledged ({again} sent twice and"
               f" applied once), {sum(len(taster.photos) for taster in tasters)} photos")  # fmt: skip


def _print_moves(mover: Mover) -> None:
    print_line(f"  {mover.moves} moves of {len(mover.moved)} teams between the cells; of the runs of the command"
               f" {mover.killed} killed, {mover.put_off} put off")  # fmt: skip
    print_line(f"  frozen for {', '.join(f'{s:.2f}' for s in mover.frozen_s)} s")
    print_line(f"  phones with unsent changes at the end of each move: {', '.join(map(str, mover.unsent))}")


if __name__ == "__main__":
    sys.exit(main())
