"""No number of tastings makes a computed statement certain: the model itself may be wrong."""

SUREST, LEAST = 0.999, 0.001


def never_certain(probability: float) -> float:
    """Return a probability kept away from 0 and 1.

    Examples
    --------
    >>> never_certain(1.0), never_certain(0.4), never_certain(0.0)
    (0.999, 0.4, 0.001)
    """
    return min(max(probability, LEAST), SUREST)
