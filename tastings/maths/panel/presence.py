"""Words that tasters noted or did not: how many noted each, and how far they agree.

Agreement is Fleiss's kappa (Fleiss 1971, Psychological Bulletin 76:378-382) over words noted or not: how much more
often two tasters agree about a word than they would by chance, given how often it is noted at all.
"""

from collections.abc import Collection, Mapping, Sequence, Set
from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.panel.agreement import AgreementError


@dataclass(frozen=True, slots=True)
class WordCount:
    """In how many sessions, and by how many tasters at least once, a word was noted."""

    word: str
    tasters: int
    sessions: int


@dataclass(frozen=True, slots=True)
class NotedWords:
    """What was noted by how many; those noted most come first.

    ``kappa`` is the agreement of the tasters about all words they could have noted, at most 1; None with one taster,
    or where nobody noted a word.
    """

    tasters: int
    sessions: int
    words: tuple[WordCount, ...]
    kappa: float | None


def noted_words(noted: Mapping[str, Sequence[Set[str]]], *, vocabulary: Collection[str]) -> NotedWords:
    """Count the words of tasters, and say how far they agree.

    Parameters
    ----------
    noted : Mapping[str, Sequence[Set[str]]]
        By taster, the words of each session in which that taster noted anything at all.
    vocabulary : Collection[str]
        Words that everybody could have noted; those of ``noted`` are added.
    """
    by_taster = {taster: set().union(*sessions) for taster, sessions in noted.items()}
    every = sorted(set(vocabulary).union(*by_taster.values()))
    words = [
        WordCount(
            word=word,
            tasters=sum(word in own for own in by_taster.values()),
            sessions=sum(word in session for sessions in noted.values() for session in sessions),
        )
        for word in every
    ]
    present = np.array([word.tasters for word in words], dtype=np.float64)
    try:
        kappa = fleiss_kappa(np.column_stack([present, len(by_taster) - present]))
    except AgreementError:
        kappa = None
    return NotedWords(
        tasters=len(by_taster),
        sessions=sum(map(len, noted.values())),
        words=tuple(
            sorted((row for row in words if row.sessions), key=lambda row: (-row.tasters, -row.sessions, row.word))
        ),
        kappa=kappa,
    )


def fleiss_kappa(counts: FloatArray) -> float:
    """Return the agreement of raters who each put every subject into one category (Fleiss 1971).

    Parameters
    ----------
    counts : float64[n_subjects, n_categories]
        How many raters chose each category; the same number of raters for every subject.

    Raises
    ------
    AgreementError
        Fewer than two raters, not as many for every subject, or one category only.

    Examples
    --------
    >>> round(fleiss_kappa(np.array([[2.0, 0.0], [0.0, 2.0], [1.0, 1.0]])), 3)
    0.333
    """
    raters = counts.sum(axis=1)
    if counts.size == 0 or raters[0] < 2 or (raters != raters[0]).any():
        raise AgreementError("every subject needs the same raters, two at least")
    share = counts.sum(axis=0) / counts.sum()
    by_chance = float((share**2).sum())
    if by_chance > 1 - 1e-12:
        raise AgreementError("only one category was chosen")
    n = raters[0]
    observed = float(((counts**2).sum(axis=1) - n).mean() / (n * (n - 1)))
    return (observed - by_chance) / (1 - by_chance)
