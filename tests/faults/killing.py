"""Faults at random moments: a process is killed outright, or the photos' disk is full, while phones are busy."""

import random
import threading
import time
from collections import Counter
from collections.abc import Callable

from tests.faults.disk import SmallDisk
from tests.faults.installation import Installation, is_working
from tests.faults.table import Seat

APART_S = 31.0
"""Between kills of a server: the launcher takes one that lived for a minute as sound and restarts it at once."""
GAP_S = 1.2
FULL_S, FULL_APART_S = 5.0, 40.0
"""So long the disk is full, and so long after the last time."""


def break_things(
    place: Installation, seats: list[Seat], *, faults: int, draw: random.Random, say: Callable[[str], None]
) -> Counter[str]:
    """Kill so many processes; return how many of each kind."""
    done: Counter[str] = Counter()
    servers = ["database", "broker"]
    next_server_at, next_full_at = time.monotonic() + 10, time.monotonic() + 15
    began = time.monotonic()
    while done.total() < faults:
        time.sleep(draw.expovariate(1 / GAP_S))
        if any(seat.faults for seat in seats):
            break
        if time.monotonic() >= next_server_at:
            kind = servers[0]
            servers.reverse()
            next_server_at = time.monotonic() + APART_S
        elif place.disk is not None and time.monotonic() >= next_full_at:
            _fill_for_a_while(place.disk, seats)
            next_full_at = time.monotonic() + FULL_S + FULL_APART_S
            done["full disk"] += 1
            continue
        else:
            kind = draw.choice(["web worker", "job worker"])
        if _kill_one(place, seats, kind=kind, draw=draw):
            done[kind] += 1
            if done.total() % 10 == 0:
                told = ", ".join(f"{n} {name}" for name, n in sorted(done.items()))
                acknowledged = sum(len(seat.acknowledged) for seat in seats)
                took_s = time.monotonic() - began
                say(f"  {done.total():3} of {faults} faults ({told}), {acknowledged} changes, {took_s:.0f} s")
    return done


def _fill_for_a_while(disk: SmallDisk, seats: list[Seat]) -> None:
    """Fill the disk while everybody takes photos."""

    def over() -> None:
        disk.free()
        for seat in seats:
            seat.eager = False

    disk.fill()
    for seat in seats:
        seat.eager = True
    threading.Timer(FULL_S, over).start()


def _kill_one(place: Installation, seats: list[Seat], *, kind: str, draw: random.Random) -> bool:
    """Kill one process of the kind, at a moment when it is likely to be at work."""
    patience_ends_at = time.monotonic() + 0.5
    while time.monotonic() < patience_ends_at:
        running = place.processes(kind)
        at_work = [pid for pid in running if is_working(pid)]
        if kind != "job worker" and any(seat.link.under_way for seat in seats):
            at_work = running
        if at_work:
            return place.kill(draw.choice(at_work))
        threading.Event().wait(0.01)
    running = place.processes(kind)
    return bool(running) and place.kill(draw.choice(running))
