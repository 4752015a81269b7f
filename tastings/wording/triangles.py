"""What a triangle test shows, in words."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.comparison.triangle import Triangle
from tastings.wording.numbers import number


def result_sentences(test: Triangle) -> list[str]:
    """Say whether the teas were told apart, how surely, and how many answers are still needed."""
    counts = {"correct": test.n_correct, "tests": test.n_tests}
    if test.different:
        verdict = _("They can be told apart: %(correct)s of %(tests)s found the odd cup, more than guessing explains.")
    else:
        verdict = _("Nothing shows that they can be told apart: %(correct)s of %(tests)s found the odd cup.")
    sentences = [verdict % counts]
    if not test.different and test.least_correct is not None:
        least = {"least": test.least_correct, "tests": test.n_tests}
        sentences.append(_("With %(tests)s answers at least %(least)s would have to be right.") % least)
    if not test.different and test.needed is not None and test.needed > test.n_tests:
        n_needed = test.needed - test.n_tests
        values = {
            "n": n_needed,
            "people": number(round(100 * test.distinguishers)),
            "sure": number(round(100 * test.target_power)),
        }
        sentences.append(
            ngettext(
                "%(n)s more answer is needed to find with %(sure)s %% that %(people)s %% of people tell them apart.",
                "%(n)s more answers are needed to find with %(sure)s %% that %(people)s %% of people tell them apart.",
                n_needed,
            )
            % values
        )
    return sentences


def difference_words(distinguishers: float, *, answers: int | None) -> str:
    """Say which difference a test is to find, and how many answers that takes."""
    values = {"people": number(round(100 * distinguishers)), "answers": answers}
    return _("that %(people)s %% of people taste: %(answers)s answers") % values


def certainty(test: Triangle) -> str:
    """Say how likely so many right answers are by guessing, and with which probability a difference would be found."""
    figures = {
        "p": number(float(f"{test.p:.2g}")),
        "power": number(round(100 * test.power)),
        "people": number(round(100 * test.distinguishers)),
    }
    return (
        _(
            "By guessing alone at least as many would be right with a probability of %(p)s (exact binomial, one third"
            " by guessing, ISO 4120). If %(people)s %% of people told them apart, so many answers would show it with"
            " %(power)s %%."
        )
        % figures
    )
