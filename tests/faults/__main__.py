"""``python -m tests.faults``: kill servers and workers under busy phones, then check every record. Linux only (/proc).

Strangers who send slowly and a full disk are among the faults.

LEAFSPAN_SEED chooses the same faults again (their moments within the work still differ), LEAFSPAN_FAULTS how many.
"""

import os
import random
import shutil
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import timedelta
from pathlib import Path

from tests.config.launching import eventually
from tests.faults.consistency import check_photos, check_records, figures_are_current, new_phone
from tests.faults.injection import inject_faults
from tests.faults.installation import Installation, installation
from tests.faults.tasters import SimulatedTaster
from tests.faults.write_load import WRITERS, write_and_pull

CLOCK_OFFSETS = (timedelta(0), timedelta(seconds=90), timedelta(minutes=-7), timedelta(days=365))
LOTS, WRITE_LOAD_S, FIGURES_S = 6, 60.0, 60.0
PHOTOS_S = 240.0
"""A check that was killed or found the disk full is asked for again after three minutes, by the timetable."""


def print_line(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def as_text(counts: Counter[str]) -> str:
    """Return counts as text."""
    return ", ".join(f"{n} times {name}" for name, n in counts.most_common()) or "none"


def report(errors: Sequence[str], *, home: Path, success: str) -> int:
    """Print what is wrong and leave the logs, or delete the folder and say that all is well; return the exit status."""
    for line in errors[:20]:
        print_line(f"WRONG: {line}")
    if errors:
        print_line(f"{len(errors)} things are wrong; the logs are in {home}")
        return 1
    shutil.rmtree(home, ignore_errors=True)
    print_line(success)
    return 0


def main() -> int:
    """Run it; return 0 if nothing was lost or applied twice and all figures are current."""
    seed = int(os.environ.get("LEAFSPAN_SEED") or random.SystemRandom().randrange(10**6))
    faults = int(os.environ.get("LEAFSPAN_FAULTS") or 200)
    home = Path(tempfile.mkdtemp(prefix="leafspan-faults-"))
    print_line(f"{faults} faults, LEAFSPAN_SEED={seed}, in {home}")
    with installation(home) as place:
        errors = _run_write_load(place, seed=seed) + _run_with_faults(place, faults=faults, seed=seed)
    return report(errors, home=home, success="nothing was lost, nothing came twice, all figures are fresh")


def _run_write_load(place: Installation, *, seed: int) -> list[str]:
    place.manage("new_team", "--name", "Writers", "--shop", "Ford", "--username", "writer")
    print_line(f"{WRITERS} writers and a puller for {WRITE_LOAD_S:.0f} s …")
    n, pulls, errors = write_and_pull(place.url, username="writer", seconds=WRITE_LOAD_S, seed=seed)
    print_line(f"  {n} records written, pulled in {pulls} syncs: {'the same set' if not errors else 'WRONG'}")
    return errors


def _run_with_faults(place: Installation, *, faults: int, seed: int) -> list[str]:
    team = place.manage("new_team", "--name", "Tasters", "--shop", "Ford", "--username", "taster-0")["team"]
    for i in range(1, len(CLOCK_OFFSETS)):
        place.manage(
            "new_member", "--team", team, "--shop", "Ford", "--username", f"taster-{i}", "--role", "buyer"
        )  # fmt: skip
    tasters = [
        SimulatedTaster(place.url, folder=place.home, username=f"taster-{i}", clock_offset=clock_offset, seed=seed + i)
        for i, clock_offset in enumerate(CLOCK_OFFSETS)
    ]
    tasters[0].sync()
    begins_at = tasters[0].phone._store.state.cursor
    tasters[0].begin(LOTS)
    stop = threading.Event()
    threads = [threading.Thread(target=taster.run, args=(stop,)) for taster in tasters]
    for thread in threads:
        thread.start()
    done = inject_faults(place, tasters, faults=faults, rng=random.Random(seed), print_line=print_line)
    stop.set()
    for thread in threads:
        thread.join()
    errors = [error for taster in tasters for error in taster.errors]
    began = time.monotonic()
    if not eventually(place.ready, seconds=120):
        return [*errors, "Leafspan is not ready again within two minutes"]
    for _ in range(2):  # the second time to pull what the others sent in the first
        errors += [f"{s.username} cannot send everything" for s in tasters if not eventually(s.sync, seconds=120)]
    phone = new_phone(place.url, username="taster-0")
    if not figures_are_current(phone, limit_s=FIGURES_S):
        errors.append(f"some lot's figures are still stale after {FIGURES_S:.0f} s")
    print_line(f"  ready, all sent and all figures fresh {time.monotonic() - began:.0f} s after the last fault")
    revision = phone._store.state.cursor - begins_at
    errors += check_records(phone, tasters, revision=revision)
    errors += check_photos(phone, tasters, limit_s=PHOTOS_S)
    _print_summary(place, tasters, done=done.total(), revision=revision)
    return errors + [error for taster in tasters for error in taster.transport.unpromised]


def _print_summary(place: Installation, tasters: list[SimulatedTaster], *, done: int, revision: int) -> None:
    def total(count: Callable[[SimulatedTaster], int]) -> int:
        return sum(map(count, tasters))

    dropped = total(lambda t: t.transport.dropped)
    server_errors = sum((t.transport.server_errors for t in tasters), Counter[str]())
    lost_jobs = place.count_in_log("error: WorkerLostError", log="worker.log")
    print_line(
        f"  {done} faults: {dropped} requests cut off, {lost_jobs} jobs killed at work, 5xx: {as_text(server_errors)}"
    )
    print_line(
        f"  {total(lambda t: t.failed_syncs)} syncs given up for later; {total(lambda t: t.restarts)} phones restarted"
    )
    changes, unshared = total(lambda t: len(t.acknowledged)), total(lambda t: t.unshared_changes)
    print_line(f"  {changes} changes acknowledged, {unshared} of records that one phone edits; {revision} revisions")
    print_line(f"  {total(lambda t: t.already_known)} changes were sent twice and applied once")
    photos, disk_full = total(lambda t: len(t.photos)), total(lambda t: t.transport.disk_full)
    print_line(f"  {photos} photos sent; {disk_full} requests refused for a full disk")
    if place.disk is None:
        print_line("  this machine cannot mount a small disk, so none was full")


if __name__ == "__main__":
    sys.exit(main())
