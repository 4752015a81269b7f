"""``python -m tests.faults.moving``: a team moves between two cells again and again under busy phones.

The command that moves it is killed at random moments and run again. All phones know the address of the first cell only.
LEAFSPAN_SEED chooses the same moments again, LEAFSPAN_MOVES how many moves there are, LEAFSPAN_PHONES how many phones.
"""

import json
import os
import random
import re
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path
from secrets import token_hex

import psycopg

from config.dev.home import ROOT
from config.dev.process import free_port
from tests.config.launching import eventually
from tests.faults.__main__ import FIGURES_S, LOTS, PHOTOS_S, print_line, report
from tests.faults.consistency import check_photos, check_records, figures_are_current, new_phone
from tests.faults.installation import Installation, started
from tests.faults.tasters import SimulatedTaster
from tests.faults.ways_in import failing_ways

MEMBERS = 4
"""How many people share the phones."""
KILLED_OF_MOVES = 0.7
"""The share of runs of the command that are killed."""
LONGEST_RUN_S = 300.0
_FROZEN = re.compile(r"frozen for ([\d.]+) s")


def main() -> int:
    """Run it; return 0 if nothing was lost or applied twice and the team was never in both cells or in none."""
    seed = int(os.environ.get("LEAFSPAN_SEED") or random.SystemRandom().randrange(10**6))
    moves = int(os.environ.get("LEAFSPAN_MOVES") or 7)
    phones = int(os.environ.get("LEAFSPAN_PHONES") or 24)
    home = Path(tempfile.mkdtemp(prefix="leafspan-moving-"))
    print_line(f"{moves} moves under {phones} phones, LEAFSPAN_SEED={seed}, in {home}")
    ports = {"a": free_port(), "b": free_port()}
    shared = {
        "LEAFSPAN_SECRET_KEY": token_hex(32),
        "LEAFSPAN_CELLS": ",".join(f"{name}=http://127.0.0.1:{port}" for name, port in ports.items()),
    }
    for name in ports:
        (home / name).mkdir()
    with (
        started(Cell(home / "a", port=ports["a"], LEAFSPAN_CELL="a", **shared)) as a,
        started(Cell(home / "b", port=ports["b"], LEAFSPAN_CELL="b", **shared)) as b,
    ):
        errors = Moves([a, b], phones=phones, rng=random.Random(seed)).run(moves)
    return report(
        errors,
        home=home,
        success="nothing was lost, nothing came twice, no cursor ran backwards, the team was in one cell at a time",
    )


class Cell(Installation):
    """An installation beside another, with more in its environment; its photos are where a command sees them."""

    def __init__(self, home: Path, *, port: int, **more: str) -> None:
        self._more = more
        super().__init__(home, port=port)

    def _launch(self) -> "subprocess.Popen[str]":
        return self._launch_under([], **self._more)

    def environment(self, **more: str) -> dict[str, str]:
        """Return the environment of a command beside the launcher."""
        return super().environment(**self._more, **more)


class Moves:
    """A team that moves, and the phones of its people."""

    def __init__(self, cells: list[Cell], *, phones: int, rng: random.Random) -> None:
        self._cells, self._rng = dict(zip("ab", cells, strict=True)), rng
        first = cells[0]
        self._team = first.manage("new_team", "--name", "Movers", "--shop", "Ford", "--username", "mover-0")["team"]
        for i in range(1, MEMBERS):
            first.manage(
                "new_member", "--team", self._team, "--shop", "Ford", "--username", f"mover-{i}", "--role", "buyer"
            )  # fmt: skip
        for i in range(phones):
            (first.home / f"phone-{i}").mkdir()
        self._tasters = [
            SimulatedTaster(
                first.url, folder=first.home / f"phone-{i}", username=f"mover-{i % MEMBERS}",
                clock_offset=timedelta(seconds=i % 5), seed=i,
            )
            for i in range(phones)
        ]  # fmt: skip
        self._cursors = [0] * phones
        self._errors: list[str] = []
        self._stop = threading.Event()
        self.frozen_s: list[float] = []
        self.killed = 0

    def run(self, moves: int) -> list[str]:
        """Move the team so often; return what is wrong."""
        self._tasters[0].sync()
        self._begins_at = self._tasters[0].phone._store.state.cursor
        self._tasters[0].begin(LOTS)
        threads = [threading.Thread(target=taster.run, args=(self._stop,)) for taster in self._tasters]
        threads.append(threading.Thread(target=self._watch_cursors))
        for thread in threads:
            thread.start()
        place = "a"
        try:
            for number in range(1, moves + 1):
                time.sleep(self._rng.uniform(1, 4))
                place = self._move(place)
                acknowledged = sum(len(taster.acknowledged) for taster in self._tasters)
                print_line(
                    f"  move {number}: now in {place}; {self.killed} killed, {acknowledged} changes acknowledged"
                )
                if self._errors or any(taster.errors for taster in self._tasters):
                    break
        finally:
            self._stop.set()
            for thread in threads:
                thread.join()
        return [*self._errors, *(error for taster in self._tasters for error in taster.errors), *self._check()]

    def _watch_cursors(self) -> None:
        """Note each cursor that is lower than before."""
        while not self._stop.wait(0.05):
            for i, taster in enumerate(self._tasters):
                cursor = taster.phone._store.state.cursor
                if cursor < self._cursors[i]:
                    self._errors.append(f"{taster.username}: the cursor went from {self._cursors[i]} back to {cursor}")
                self._cursors[i] = cursor

    def _move(self, place: str) -> str:
        """Move the team from a cell to the other, killing the command on the way; return where it is."""
        target = "b" if place == "a" else "a"
        took_s = 3.0
        while True:
            kill_after_s = self._rng.uniform(0.5, took_s) if self._rng.random() < KILLED_OF_MOVES else LONGEST_RUN_S
            began = time.monotonic()
            output = self._command(place, target, kill_after_s=kill_after_s)
            took_s = max(took_s, time.monotonic() - began)
            homes = self._homes()
            if len(homes) > 1:
                self._errors.append(f"the team lives in {sorted(homes)}")
                return place
            if output is None:
                self.killed += 1
                continue
            if homes != {target}:
                self._errors.append(f"after the move to {target} the team lives in {sorted(homes)}: {output}")
            self.frozen_s += [float(seconds) for seconds in _FROZEN.findall(output)]
            print_line("  " + output.strip().replace("\n", "\n  "))
            return target

    def _command(self, place: str, target: str, *, kill_after_s: float) -> str | None:
        """Run ``move_team``; return what it printed, None if it was killed."""
        here, there = self._cells[place], self._cells[target]
        services = json.loads((there.home / "services.json").read_text())
        env = here.environment(
            LEAFSPAN_TO_DATABASE_URL=services["database_url"], LEAFSPAN_TO_PHOTOS=str(there.home / "photos")
        )
        command = [sys.executable, str(ROOT / "manage.py"), "move_team", "--team", self._team, "--to", target]
        running = subprocess.Popen(
            command, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=ROOT
        )
        try:
            output, _ = running.communicate(timeout=kill_after_s)
        except subprocess.TimeoutExpired:
            running.kill()
            running.communicate()
            return None
        if running.returncode != 0:
            self._errors.append(f"move_team: {output.strip()}")
        return output

    def _homes(self) -> set[str]:
        """Return the cells that act for the team."""
        return {name for name, cell in self._cells.items() if _lives_in(cell, self._team)}

    def _check(self) -> Iterable[str]:
        began = time.monotonic()
        for _ in range(2):  # the second time to pull what the others sent in the first
            for taster in self._tasters:
                if not eventually(taster.sync, seconds=120):
                    yield f"{taster.username} cannot send everything"
        phone = new_phone(self._cells["a"].url, username="mover-0")
        revision = phone._store.state.cursor - self._begins_at
        if "b" in self._homes():
            for way in failing_ways(self._cells["a"].url, phone, username="mover-1"):
                yield f"did not lead to the team in cell b: {way}"
        if not figures_are_current(phone, limit_s=FIGURES_S):
            yield f"some lot's figures are still stale after {FIGURES_S:.0f} s"
        print_line(f"  all sent and all figures fresh {time.monotonic() - began:.0f} s after the last move")
        yield from check_records(phone, self._tasters, revision=revision)
        yield from check_photos(phone, self._tasters, limit_s=PHOTOS_S)
        photos = sum(len(taster.photos) for taster in self._tasters)
        again = sum(taster.already_known for taster in self._tasters)
        refused = sum(taster.transport.server_errors for taster in self._tasters)
        print_line(f"  {self.killed} runs killed; frozen for {', '.join(f'{s:.2f}' for s in self.frozen_s)} s")
        print_line(f"  {photos} photos; {refused} answers 5xx; {again} changes sent twice and applied once")


def _lives_in(cell: Installation, team: str) -> bool:
    services = json.loads((cell.home / "services.json").read_text())
    with psycopg.connect(services["database_url"]) as session:
        found = session.execute(
            "SELECT EXISTS (SELECT FROM teams_team WHERE id = %s)"
            " AND NOT EXISTS (SELECT FROM teams_movedteam WHERE team_id = %s)",
            [team, team],
        ).fetchone()
    return bool(found and found[0])


if __name__ == "__main__":
    sys.exit(main())
