"""Finds the closest known word within one or two edits of a misspelt one (symmetric-delete method)."""

from collections.abc import Collection, Iterator, Mapping
from itertools import combinations

_ONE_FROM, _TWO_FROM = 5, 9
"""Least letters of a word that may have one wrong letter, and two."""
_LONGEST = 16


def distance(a: str, b: str) -> int:
    """Return how many letters to leave out, put in, change or swap with their neighbour.

    The restricted edit distance (optimal string alignment): no part is edited twice.

    >>> distance("orchird", "orchid"), distance("honye", "honey"), distance("peech", "peach")
    (1, 1, 1)
    """
    before, last = list[int](), list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        row = [i]
        for j, y in enumerate(b, 1):
            best = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (x != y))
            if i > 1 and j > 1 and x == b[j - 2] and a[i - 2] == y:
                best = min(best, before[j - 2] + 1)
            row.append(best)
        before, last = last, row
    return last[-1]


class Spelling:
    """Finds the known word near a misspelt one without comparing with each.

    Two words within two edits share what is left after leaving out at most two letters of each.
    """

    def __init__(
        self, known: Mapping[str, object], *, derived: Collection[str] = (), shortest: int = _ONE_FROM
    ) -> None:
        """Take the known words with what each means: of equally near ones with one meaning, any will do.

        Derived words, which a rule made from others and are many, are found one edit away only. Words of fewer than
        ``shortest`` letters are found as they are spelt, and not otherwise.
        """
        self._known, self._derived = known, derived
        self._index: dict[str, set[str]] = {}
        for word in known:
            if max(_ONE_FROM, shortest) <= len(word) <= _LONGEST:
                for deletion in _deletions(word, self._allowed(word)):
                    self._index.setdefault(deletion, set()).add(word)

    def nearest(self, word: str) -> str | None:
        """Return the nearest known word; None when there is none near enough, or several equally near."""
        if not _ONE_FROM - 1 <= len(word) <= _LONGEST:
            return None
        near: dict[str, int] = {}
        for deletion in _deletions(word, 2 if len(word) >= _TWO_FROM - 2 else 1):
            for known in self._index.get(deletion, ()):
                if known not in near and (edits := distance(word, known)) <= self._allowed(known):
                    near[known] = edits
        least = [known for known, edits in near.items() if edits == min(near.values())]
        if len(least) > 1:  # fingers rarely miss the first letter
            least = sorted(known for known in least if known[0] == word[0])
        return least[0] if least and all(self._known[known] == self._known[least[0]] for known in least) else None

    def _allowed(self, word: str) -> int:
        return 2 if len(word) >= _TWO_FROM and word not in self._derived else 1


def _deletions(word: str, most: int) -> Iterator[str]:
    for n in range(most + 1):
        for out in combinations(range(len(word)), n):
            yield "".join(letter for i, letter in enumerate(word) if i not in out)
