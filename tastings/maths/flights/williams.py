"""Orders of serving in which every lot stands equally often everywhere and follows every other equally often.

Source: Williams 1949, Australian Journal of Scientific Research A 2:149-168; for tastings MacFie, Bratchell, Greenhoff
and Vallis 1989, Journal of Sensory Studies 4:129-148 (both from memory).
"""

import numpy as np

Rows = tuple[tuple[int, ...], ...]


def williams_square(t: int) -> Rows:
    """Return the rows of the Williams square of ``t`` things, numbered from 0; two mirror squares when ``t`` is odd.

    Every thing stands once at each place (twice over the ``2 t`` rows of an odd ``t``), and every ordered pair of
    different things stands side by side once (twice).

    Raises
    ------
    ValueError
        ``t`` below 1.

    Examples
    --------
    >>> williams_square(4)
    ((0, 1, 3, 2), (1, 2, 0, 3), (2, 3, 1, 0), (3, 0, 2, 1))
    >>> len(williams_square(5))
    10
    """
    if t < 1:
        raise ValueError("a square holds at least one thing")
    first = [(step + 1) // 2 if step % 2 else -(step // 2) % t for step in range(t)]
    square = tuple(tuple((start + step) % t for step in first) for start in range(t))
    mirrored = tuple(row[::-1] for row in square) if t % 2 and t > 1 else ()
    return square + mirrored


def rows_for(n_sittings: int, *, t: int, rng: np.random.Generator) -> Rows:
    """Deal rows of the square to sittings by chance, as balanced as their number allows.

    The things change names by chance once, whole squares are used up before a row comes again, and the rest of an odd
    ``t`` is taken from one square as long as it lasts, so that no thing stands twice at a place.
    """
    square, names = williams_square(t), rng.permutation(t)
    whole, rest = divmod(n_sittings, len(square))
    halves = [rng.permutation(t) + t * half for half in range(len(square) // t)]
    rng.shuffle(halves)
    numbers = np.concatenate([*[np.arange(len(square))] * whole, np.concatenate(halves)[:rest]]).astype(int)
    return tuple(tuple(int(names[thing]) for thing in square[number]) for number in rng.permutation(numbers))
