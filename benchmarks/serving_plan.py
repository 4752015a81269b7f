"""How good serving plans are and how long they take, against lots dealt at random.

Run from the repository root: ``python -m benchmarks.serving_plan``. A random deal shuffles all lots, deals them out
sitting by sitting, and shuffles them again when none is left, so that lots come equally often too; the median of 100
such deals is shown beside the plan, with the share of deals in which all lots could be compared. The sittings of both
have the same sizes. Figures of the plan: efficiency as a share of the bound, largest differences of places and of
neighbours in cups, and seconds of one core.
"""

import argparse
from itertools import chain, repeat
from statistics import median
from time import process_time

import numpy as np

from tastings.maths.flights.efficiency import bound, efficiency, is_connected, no_others
from tastings.maths.flights.orders import count_orders
from tastings.maths.flights.serving import plan_servings

DEALS = 100
TABLES = (
    # lots, tasters, cups, sittings
    (8, 8, 8, 1),
    (9, 6, 9, 3),
    (9, 12, 3, 1),
    (13, 13, 4, 1),
    (12, 4, 6, 2),
    (20, 6, 8, 1),
    (24, 6, 8, 1),
    (24, 6, 8, 2),
    (24, 6, 8, 3),
    (30, 8, 8, 1),
    (30, 8, 8, 2),
    (30, 8, 8, 3),
    (60, 20, 12, 4),
)


def dealt(n_lots: int, *, n_sittings: int, cups: int, rng: np.random.Generator) -> list[list[int]]:
    deck = chain.from_iterable(rng.permutation(n_lots).tolist() for _ in repeat(None))
    return [[next(deck) for _ in range(cups)] for _ in range(n_sittings)]


def figures(orders: list[list[int]], *, n_lots: int) -> tuple[float, float, bool, int, int]:
    """Return efficiency, its share of the bound, whether connected, and both spreads."""
    counts = np.zeros((n_lots, len(orders)), dtype=np.int64)
    for number, order in enumerate(orders):
        np.add.at(counts, (order, number), 1)
    none = no_others(len(orders))
    reached, most = efficiency(counts, none), bound(counts, none)
    both = count_orders(orders, n_lots=n_lots)
    apart = both.follows[~np.eye(n_lots, dtype=bool)]
    share = reached / most if most else 0.0
    return reached, share, is_connected(counts, none), int(np.ptp(both.places, axis=1).max()), int(np.ptp(apart))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    print("| lots | tasters | cups | sittings | efficiency | of bound | places | neighbours | s |", end="")
    print(" dealt: efficiency | of bound | places | neighbours | connected |")
    print("|" + " ---: |" * 14)
    for n_lots, n_tasters, cups, sittings in TABLES:
        begun = process_time()
        plan = plan_servings(
            lots=[f"lot {i}" for i in range(n_lots)],
            tasters=[f"taster {i}" for i in range(n_tasters)],
            cups=cups,
            sittings=sittings,
            seed=chosen.seed,
        )
        seconds = process_time() - begun
        rng = np.random.default_rng(chosen.seed)
        deals = [
            figures(dealt(n_lots, n_sittings=len(plan.sittings), cups=cups, rng=rng), n_lots=n_lots)
            for _ in range(DEALS)
        ]
        share, places, neighbours = (median(deal[i] for deal in deals) for i in (1, 3, 4))
        print(
            f"| {n_lots} | {n_tasters} | {cups} | {sittings} | {plan.efficiency:.4f} |"
            f" {plan.efficiency / plan.bound:.4f} | {plan.position_spread} | {plan.carry_over_spread} | {seconds:.2f} |"
            f" {median(deal[0] for deal in deals):.4f} | {share:.4f} | {places:.0f} | {neighbours:.0f} |"
            f" {sum(deal[2] for deal in deals)} % |",
            flush=True,
        )


if __name__ == "__main__":
    main()
