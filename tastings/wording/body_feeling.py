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


def body_feeling_sentence(noted: NotedWords, *, labels: Mapping[str, str]) -> str:
    """Say how many tasters reported which word."""
    if not noted.sessions:
        return _("Nobody has noted yet what they felt in the body.")
    if not noted.words:
        return _("Nobody reported a feeling by one of the words.")
    words = [(_word(word.word, labels), word.tasters) for word in noted.words]
    if noted.tasters == 1:
        alone = listed(word for word, _n in words)
        return _("The one taster who wrote down what they felt: %(words)s.") % {"words": alone}
    counted = listed(_("%(word)s by %(n)s") % {"word": word, "n": n} for word, n in words)
    return _("Of %(n)s tasters who wrote down what they felt: %(words)s.") % {"n": noted.tasters, "words": counted}


def _word(key: str, labels: Mapping[str, str]) -> str:
    return _("a feeling without a name") if key == UNNAMED else isolated(descriptor_in_sentence(key, labels))


def body_agreement_sentence(noted: NotedWords) -> str:
    """Say how far the tasters agree; nothing where they are too few for it, or noted a single word."""
    if noted.kappa is None or noted.tasters < LEAST_TASTERS or len(noted.words) < LEAST_WORDS:
        return ""
    return _(
        "They agree to %(kappa)s about which words fit (1: all alike, 0: no more than by chance; Fleiss's kappa)."
    ) % {"kappa": two_decimals(noted.kappa)}


def body_feeling_note() -> str:
    """Say what such words are not."""
    return _("This is what tasters reported at the table. It says nothing about effects on health.")
