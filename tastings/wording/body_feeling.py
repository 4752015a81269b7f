"""What tasters reported to feel in the body, in words; nothing here is a statement about health."""

from collections.abc import Mapping

from django.utils.translation import gettext as _

from tastings.maths.panel.presence import NotedWords
from tastings.wording.labels import descriptor_in_sentence
from tastings.wording.numbers import isolated, listed, two_decimals

UNNAMED = "body_feeling"
"""The word of a taster who felt something and has no other word for it."""
LEAST_TASTERS, LEAST_WORDS = 3, 2
"""Least tasters whose agreement is worth a sentence (own rule)."""


def body_feeling_sentence(found: NotedWords, *, labels: Mapping[str, str]) -> str:
    """Say how many tasters reported which word."""
    if not found.sessions:
        return _("Nobody has noted yet what they felt in the body.")
    if not found.words:
        return _("Nobody reported a feeling by one of the words.")
    words = [(_word(one.word, labels), one.tasters) for one in found.words]
    if found.tasters == 1:
        alone = listed(word for word, _n in words)
        return _("The one taster who wrote down what they felt: %(words)s.") % {"words": alone}
    counted = listed(_("%(word)s by %(n)s") % {"word": word, "n": n} for word, n in words)
    return _("Of %(n)s tasters who wrote down what they felt: %(words)s.") % {"n": found.tasters, "words": counted}


def _word(key: str, labels: Mapping[str, str]) -> str:
    return _("a feeling without a name") if key == UNNAMED else isolated(descriptor_in_sentence(key, labels))


def body_agreement_sentence(found: NotedWords) -> str:
    """Say how far the tasters agree; nothing where they are too few for it, or noted a single word."""
    if found.kappa is None or found.tasters < LEAST_TASTERS or len(found.words) < LEAST_WORDS:
        return ""
    return _(
        "They agree to %(kappa)s about which words fit (1: all alike, 0: no more than by chance; Fleiss's kappa)."
    ) % {"kappa": two_decimals(found.kappa)}


def body_feeling_note() -> str:
    """Say what such words are not."""
    return _("This is what tasters reported at the table. It says nothing about effects on health.")
