"""How sure a statement is said to be: intervals of 80 %, and no probability of 0 or 1: the model may be wrong."""

CENTRAL_80 = 1.2815515655446004
"""Standard deviations from the middle of a normal to either end of its central 80 %."""
SUREST, LEAST = 0.999, 0.001


def never_certain(probability: float) -> float:
    """Return a probability kept away from 0 and 1.

    Examples
    --------
    >>> never_certain(1.0), never_certain(0.4), never_certain(0.0)
    (0.999, 0.4, 0.001)
    """
    return min(max(probability, LEAST), SUREST)
