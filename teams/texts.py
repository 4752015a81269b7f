"""What a text looks like to people."""

from unicodedata import category


def is_blank(text: str) -> bool:
    """Whether nobody can see the text: spaces, controls and characters of no width (Unicode's categories Z and C).

    The Hangul fillers are letters to Unicode, yet blank.
    """
    return all(category(c)[0] in "ZC" or c in "\u115f\u1160\u3164\uffa0" for c in text)
