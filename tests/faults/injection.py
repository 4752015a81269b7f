"""Faults at random moments under busy phones: a process is killed, the disk is full, strangers send slowly."""

import random
import threading
import time
from collections import Counter
from collections.abc import Callable

from tests.faults.disk import SmallDisk
from tests.faults.installation import Installation, is_working
from tests.faults.slow_senders import slow_senders
from tests.faults.tasters import SimulatedTaster

SERVER_KILLS_APART_S = 31.0
"""Database and broker in turn: each has run for a minute by then, so the launcher restarts it at once."""
MEAN_GAP_S = 1.2
FULL_S, FULL_APART_S = 5.0, 40.0
"""How long the disk stays full, and how long after that until the next time."""
SLOW_SENDERS, SLOW_S, SLOW_APART_S = 300, 40.0, 20.0
"""How many send a byte every ten seconds, for how long, and how long after that until the next time."""


def inject_faults(
    place: Installation,
    tasters: list[SimulatedTaster],
    *,
    faults: int,
    rng: random.Random,
    print_line: Callable[[str], None],
) -> Counter[str]:
    """Cause so many faults; return how many of each kind."""
    done: Counter[str] = Counter()
    servers = ["database", "broker"]
    next_server_at, next_full_at, next_slow_at = time.monotonic() + 10, time.monotonic() + 15, time.monotonic() + 5
    began = time.monotonic()
    while done.total() < faults:
        time.sleep(rng.expovariate(1 / MEAN_GAP_S))
        if any(taster.errors for taster in tasters):
            break
        if time.monotonic() >= next_server_at:
            kind = servers[0]
            servers.reverse()
            next_server_at = time.monotonic() + SERVER_KILLS_APART_S
        elif place.disk is not None and time.monotonic() >= next_full_at:
            _fill_for_a_while(place.disk, tasters)
            next_full_at = time.monotonic() + FULL_S + FULL_APART_S
            done["full disk"] += 1
            continue
        elif time.monotonic() >= next_slow_at:
            threading.Thread(target=_send_slowly, args=(place,), daemon=True).start()
            next_slow_at = time.monotonic() + SLOW_S + SLOW_APART_S
            done["slow senders"] += 1
            continue
        else:
            kind = rng.choice(["web worker", "job worker"])
        if _kill_one(place, tasters, kind=kind, rng=rng):
            done[kind] += 1
            if done.total() % 10 == 0:
                counts = ", ".join(f"{n} {name}" for name, n in sorted(done.items()))
                acknowledged = sum(len(taster.acknowledged) for taster in tasters)
                took_s = time.monotonic() - began
                print_line(f"  {done.total():3} of {faults} faults ({counts}), {acknowledged} changes, {took_s:.0f} s")
    return done


def _send_slowly(place: Installation) -> None:
    """Have strangers send a byte at a time for a while; other faults go on meanwhile."""
    with slow_senders(place.url, SLOW_SENDERS):
        time.sleep(SLOW_S)


def _fill_for_a_while(disk: SmallDisk, tasters: list[SimulatedTaster]) -> None:
    """Fill the disk while everybody takes photos."""

    def over() -> None:
        disk.free()
        for taster in tasters:
            taster.always_photographs = False

    disk.fill()
    for taster in tasters:
        taster.always_photographs = True
    threading.Timer(FULL_S, over).start()


def _kill_one(place: Installation, tasters: list[SimulatedTaster], *, kind: str, rng: random.Random) -> bool:
    """Kill one process of the kind, at a moment when it is likely to be at work."""
    give_up_at = time.monotonic() + 0.5
    while time.monotonic() < give_up_at:
        running = place.processes(kind)
        at_work = [pid for pid in running if is_working(pid)]
        if kind != "job worker" and any(taster.transport.in_flight for taster in tasters):
            at_work = running
        if at_work:
            return place.kill(rng.choice(at_work))
        threading.Event().wait(0.01)
    running = place.processes(kind)
    return bool(running) and place.kill(rng.choice(running))
