"""Whether the waters of a lot's sessions differ so much in minerals that their cups compare less well.

Nothing is corrected for it: how minerals change a cup is not known well enough. That hard and soft water make different
cups of one tea, and that tastings to compare are brewed with one water, is common practice, no source.
"""

from collections.abc import Iterable

LEAST_TIMES, LEAST_MORE_MG_L = 2.0, 100.0
"""Least ratio and difference of dissolved solids at which waters are very different (own rule)."""


def differing_minerals(tds_mg_l: Iterable[float | None]) -> tuple[float, float] | None:
    """Return the least and the most dissolved solids when they are very different; None otherwise. [mg/l].

    Examples
    --------
    >>> differing_minerals([40.0, None, 210.0]), differing_minerals([150.0, 260.0]), differing_minerals([5.0, 60.0])
    ((40.0, 210.0), None, None)
    """
    known = [tds for tds in tds_mg_l if tds is not None]
    if not known:
        return None
    least, most = min(known), max(known)
    return (least, most) if most >= LEAST_TIMES * least and most - least >= LEAST_MORE_MG_L else None
