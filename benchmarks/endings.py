"""What endings add to the number of steeps, on simulated tastings: with them, without, and a plain average of stops.

Run from the repository root: ``python -m benchmarks.endings --lots 150``. Each lot's team has its own finish line,
N(2.5, 0.7); sessions end where a cup is found spent or at the hour. Progress goes to standard error.
"""

import argparse
import sys
from dataclasses import replace

import numpy as np

from benchmarks.worlds import some_leaf, some_session, some_table
from tastings.maths.develop import develop
from tastings.maths.steeps import Steeps, worthwhile_steeps

SESSIONS = (1, 3, 8)


def covered(found: Steeps, *, true_count: int) -> bool:
    return (found.low or 0) <= true_count <= (found.high or 0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lots", type=int, default=150)
    chosen = parser.parse_args()
    print("| sessions | off by, with endings | without | average of the stops | interval covers, with | without |")
    print("| --- | --- | --- | --- | --- | --- |")
    for sessions in SESSIONS:
        off: list[tuple[float, float, float]] = []
        hit: list[tuple[bool, bool]] = []
        for lot in range(chosen.lots):
            chance = np.random.default_rng([9, sessions, lot])
            leaf, table = some_leaf(chance), some_table(chance)
            line = float(np.clip(chance.normal(2.5, 0.7), 0.8, 4.5))
            brews = [some_session(leaf, table, number=i, chance=chance, line=line) for i in range(sessions)]
            true_count = worthwhile_steeps(leaf.even_cups()[None, :], finish_line=line).recommended or 0
            with_them = develop(brews, rated=["strength"]).steeps
            without = develop([replace(brew, ending=None) for brew in brews], rated=["strength"]).steeps
            stops = float(np.mean([brew.pours[-1].number for brew in brews]))
            counts = ((with_them.recommended or 0), (without.recommended or 0), stops)
            off.append((abs(counts[0] - true_count), abs(counts[1] - true_count), abs(counts[2] - true_count)))
            hit.append((covered(with_them, true_count=true_count), covered(without, true_count=true_count)))
            if (lot + 1) % 50 == 0:
                print(f"{sessions} sessions: {lot + 1} of {chosen.lots} lots", file=sys.stderr)
        figures = (*np.mean(off, axis=0), *np.mean(hit, axis=0))
        print(f"| {sessions} | " + " | ".join(f"{figure:.2f}" for figure in figures) + " |", flush=True)


if __name__ == "__main__":
    main()
