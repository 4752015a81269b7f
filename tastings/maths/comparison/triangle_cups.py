"""The cups of a triangle test: their codes, and the order in which they stand.

ISO 4120:2021: each of the six orders of two teas in three cups is served equally often, in random order, and cups have
three-digit codes. Both are drawn from a secret key, so they are the same whenever they are asked for.
"""

import hmac
from dataclasses import dataclass

ORDERS = ((0, 0, 1), (0, 1, 0), (1, 0, 0), (1, 1, 0), (1, 0, 1), (0, 1, 1))
"""The six orders of three cups: 0 is the first tea, 1 the second."""
MOST_SETS = 300
"""There are 900 codes of three digits."""


@dataclass(frozen=True, slots=True)
class CupSet:
    """Three cups for one answer."""

    codes: tuple[int, ...]  # one for each cup, in serving order; no other cup of the test has them [100 to 999]
    teas: tuple[int, ...]  # the tea in each cup: 0 or 1

    @property
    def odd(self) -> int:
        """Code of the cup that differs from the two others."""
        return next(code for code, tea in zip(self.codes, self.teas, strict=True) if self.teas.count(tea) == 1)


def cup_sets(key: bytes, *, n_sets: int) -> list[CupSet]:
    """Return the first sets of a test, at most 300.

    Examples
    --------
    >>> first = cup_sets(b"key", n_sets=1)[0]
    >>> len(first.codes), first.odd in first.codes, sorted(first.teas)[1] in (0, 1)
    (3, True, True)
    """
    codes = sorted(range(100, 1000), key=lambda code: _draw(key, f"code {code}"))
    sets = []
    for i in range(min(n_sets, MOST_SETS)):
        block, place = divmod(i, len(ORDERS))
        orders = sorted(ORDERS, key=lambda order, block=block: _draw(key, f"order {block} {order}"))  # type: ignore[misc]
        sets.append(CupSet(codes=tuple(codes[3 * i : 3 * i + 3]), teas=orders[place]))
    return sets


def _draw(key: bytes, text: str) -> bytes:
    return hmac.digest(key, text.encode(), "sha256")
