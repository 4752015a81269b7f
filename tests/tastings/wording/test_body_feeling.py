"""What was felt in the body is said as it was reported, in words that read as a sentence."""

import pytest

from tastings.maths.panel.presence import NotedWords, WordCount
from tastings.wording.body_feeling import body_feeling_sentence


def noted(tasters, *words):
    return NotedWords(
        sessions=tasters, tasters=tasters, words=tuple(WordCount(word, n, n) for word, n in words), kappa=None
    )


@pytest.mark.parametrize(
    ("found", "sentence"),
    [
        (noted(0), "Nobody has noted yet what they felt in the body."),
        (noted(1, ("warming", 1)), "The one taster who wrote down what they felt: warming."),
        (
            noted(1, ("body_feeling", 1)),
            "The one taster who wrote down what they felt: a feeling without a name.",
        ),
        (
            noted(3, ("warming", 2), ("calm", 1)),
            "Of 3 tasters who wrote down what they felt: warming by 2 and calm by 1.",
        ),
    ],
)
def test_words_are_said_with_who_noted_them(found, sentence):
    assert body_feeling_sentence(found, labels={}) == sentence
