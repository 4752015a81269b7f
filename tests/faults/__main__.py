"""``python -m tests.faults``: all of Leafspan under fire, then the reckoning. Linux only, since it reads /proc.

LEAFSPAN_SEED chooses the same faults again (their moments within the work still differ), LEAFSPAN_FAULTS how many.
"""

import os
import random
import shutil
import sys
import tempfile
import threading
import time
from datetime import timedelta
from pathlib import Path

from tests.config.launching import eventually
from tests.faults.installation import Installation, installation
from tests.faults.killing import break_things
from tests.faults.minute import WRITERS, write_and_pull
from tests.faults.reckoning import figures_fresh, fresh, reckon, reckon_photos
from tests.faults.table import Seat

SKEWS = (timedelta(0), timedelta(seconds=90), timedelta(minutes=-7), timedelta(days=365))
LOTS, MINUTE_S, FIGURES_S = 6, 60.0, 60.0
PHOTOS_S = 240.0
"""A check that was killed or found the disk full is asked for again after three minutes, by the timetable."""


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main() -> int:
    """Run it; 0 when nothing was lost, nothing came twice and all figures are fresh."""
    seed = int(os.environ.get("LEAFSPAN_SEED") or random.SystemRandom().randrange(10**6))
    faults = int(os.environ.get("LEAFSPAN_FAULTS") or 200)
    home = Path(tempfile.mkdtemp(prefix="leafspan-faults-"))
    say(f"{faults} faults, LEAFSPAN_SEED={seed}, in {home}")
    with installation(home) as place:
        wrong = _minute(place, seed=seed) + _under_fire(place, faults=faults, seed=seed)
    for line in wrong[:20]:
        say(f"WRONG: {line}")
    if wrong:
        say(f"{len(wrong)} things are wrong; the logs are in {home}")
        return 1
    shutil.rmtree(home, ignore_errors=True)
    say("nothing was lost, nothing came twice, all figures are fresh")
    return 0


def _minute(place: Installation, *, seed: int) -> list[str]:
    place.manage("new_team", "--name", "Writers", "--shop", "Ford", "--username", "writer")
    say(f"{WRITERS} writers and a puller for {MINUTE_S:.0f} s …")
    n, pulls, wrong = write_and_pull(place.url, username="writer", seconds=MINUTE_S, seed=seed)
    say(f"  {n} records written, pulled in {pulls} syncs: {'the same set' if not wrong else 'WRONG'}")
    return wrong


def _under_fire(place: Installation, *, faults: int, seed: int) -> list[str]:
    team = place.manage("new_team", "--name", "Tasters", "--shop", "Ford", "--username", "taster-0")["team"]
    for i in range(1, len(SKEWS)):
        place.manage(
            "new_member", "--team", team, "--shop", "Ford", "--username", f"taster-{i}", "--role", "taster"
        )  # fmt: skip
    seats = [
        Seat(place.url, folder=place.home, username=f"taster-{i}", skew=skew, seed=seed + i)
        for i, skew in enumerate(SKEWS)
    ]
    seats[0].begin(LOTS)
    stop = threading.Event()
    threads = [threading.Thread(target=seat.work, args=(stop,)) for seat in seats]
    for thread in threads:
        thread.start()
    done = break_things(place, seats, faults=faults, draw=random.Random(seed), say=say)
    stop.set()
    for thread in threads:
        thread.join()
    wrong = [fault for seat in seats for fault in seat.faults]
    began = time.monotonic()
    if not eventually(place.ready, seconds=120):
        return [*wrong, "it is not ready again within two minutes"]
    for _ in range(2):  # the second time to hear what the others sent in the first
        wrong += [f"{s.username} cannot send everything" for s in seats if not eventually(s.sync, seconds=120)]
    phone = fresh(place.url, username="taster-0")
    if not figures_fresh(phone, limit_s=FIGURES_S):
        wrong.append(f"some lot's figures are still stale after {FIGURES_S:.0f} s")
    say(f"  ready, all sent and all figures fresh {time.monotonic() - began:.0f} s after the last fault")
    revision = phone._store.state.cursor
    wrong += reckon(phone, seats, revision=revision)
    wrong += reckon_photos(phone, seats, limit_s=PHOTOS_S)
    _tell(place, seats, done=done.total(), revision=revision)
    return wrong


def _tell(place: Installation, seats: list[Seat], *, done: int, revision: int) -> None:
    changes, own = sum(len(seat.acknowledged) for seat in seats), sum(seat.own for seat in seats)
    cut, broken = sum(seat.link.cut for seat in seats), sum(seat.link.broken for seat in seats)
    given_up, twice = sum(seat.failed_syncs for seat in seats), sum(seat.twice for seat in seats)
    lost_jobs, reborn = place.said("error: WorkerLostError", log="worker.log"), sum(seat.reborn for seat in seats)
    say(f"  {done} faults: {cut} requests cut off, {lost_jobs} jobs killed at work, {broken} answers 5xx")
    say(f"  {given_up} syncs given up for later; phones died {reborn} times")
    say(f"  {changes} changes acknowledged, {own} of them of records of one's own; {revision} revisions")
    say(f"  {twice} changes came twice and were known")
    photos, full = sum(len(seat.photos) for seat in seats), sum(seat.link.full for seat in seats)
    say(f"  {photos} photos sent; {full} requests turned away for a full disk")
    if place.disk is None:
        say("  this machine lets nobody make a small disk, so none was full")


if __name__ == "__main__":
    sys.exit(main())
