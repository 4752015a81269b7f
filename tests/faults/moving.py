"""Moves teams between two cells under busy phones, and kills the command that does it at random moments."""

import random
import re
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence

from config.dev.home import ROOT
from tests.faults.machines import Cell
from tests.faults.watching import WatchingTaster

KILLED_OF_MOVES = 0.7
"""The share of runs of the command that are killed."""
STAY_S = (4.0, 12.0)
"""How long a team stays in a cell, at least and at most."""
LONGEST_RUN_S = 300.0
_FROZEN = re.compile(r"frozen for ([\d.]+) s")
_PASSING = ("does not answer", "run it again", "cannot be reached")
"""What the command says when the other cell is being killed or the team's requests take too long."""


class Mover:
    """Moves one team after the other from the first cell, at whose address all phones are, to the second and back."""

    def __init__(
        self, cells: Mapping[str, Cell], teams: Mapping[str, Sequence[WatchingTaster]], *, rng: random.Random
    ) -> None:
        self._cells, self._teams, self._rng = cells, teams, rng
        self._first, self._second = cells
        self.errors: list[str] = []
        self.frozen_s: list[float] = []
        self.moves = self.killed = self.put_off = 0
        self.unsent: list[int] = []
        """How many of the team's phones had unsent changes, at the end of each move."""
        self.moved: set[str] = set()
        """The teams that were in the second cell."""

    def run(self, stop: threading.Event) -> None:
        """Move teams until the event is set or something is wrong; then every team is in the first cell."""
        while not stop.is_set() and not self.errors:
            team = self._rng.choice([one for one in self._teams if one not in self.moved] or list(self._teams))
            while not any(taster.has_unsent for taster in self._teams[team]) and not stop.wait(0.2):
                continue
            for target in (self._second, self._first):
                self.move(team, target)
                stop.wait(self._rng.uniform(*STAY_S))

    def move(self, team: str, target: str) -> None:
        """Move a team to a cell, killing the command on the way, until it is there or something is wrong."""
        place = self._first if target == self._second else self._second
        took_s = 3.0
        while not self.errors:
            kill_after_s = self._rng.uniform(0.5, took_s) if self._rng.random() < KILLED_OF_MOVES else LONGEST_RUN_S
            began = time.monotonic()
            output = self._command(team, place, target, kill_after_s=kill_after_s)
            took_s = max(took_s, time.monotonic() - began)
            homes = {name for name, cell in self._cells.items() if cell.has(team)}
            if len(homes) != 1:
                self.errors.append(f"team {team} lives in {sorted(homes) or 'no cell'}")
            if output is None:
                continue
            if homes != {target}:
                self.errors.append(f"after the move to {target} team {team} lives in {sorted(homes)}: {output}")
            self.frozen_s += [float(seconds) for seconds in _FROZEN.findall(output)]
            self.unsent.append(sum(taster.has_unsent for taster in self._teams[team]))
            self.moves += 1
            self.moved.add(team)
            return

    def _command(self, team: str, place: str, target: str, *, kill_after_s: float) -> str | None:
        """Run ``move_team``; return what it printed, None if it was killed or has to be run again."""
        env = self._cells[place].environment(**self._cells[target].way_in())
        command = [sys.executable, str(ROOT / "manage.py"), "move_team", "--team", team, "--to", target]
        running = subprocess.Popen(
            command, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=ROOT
        )
        try:
            output, _ = running.communicate(timeout=kill_after_s)
        except subprocess.TimeoutExpired:
            running.kill()
            running.communicate()
            self.killed += 1
            return None
        if running.returncode == 0:
            return output
        if any(words in output for words in _PASSING):
            self.put_off += 1
        else:
            self.errors.append(f"move_team: {output.strip()}")
        return None
