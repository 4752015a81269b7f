"""What a triangle test shows, in words."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.comparison.triangle import Triangle
from tastings.wording.numbers import number


def result_sentences(found: Triangle) -> list[str]:
    """Say whether the teas were told apart, how surely, and how many answers are still needed."""
    counts = {"correct": found.n_correct, "tests": found.n_tests}
    if found.different:
        verdict = _("They can be told apart: %(correct)s of %(tests)s found the odd cup, more than guessing explains.")
    else:
        verdict = _("Nothing shows that they can be told apart: %(correct)s of %(tests)s found the odd cup.")
    sentences = [verdict % counts]
    if not found.different and found.least_correct is not None:
        least = {"least": found.least_correct, "tests": found.n_tests}
        sentences.append(_("With %(tests)s answers at least %(least)s would have to be right.") % least)
    if not found.different and found.needed is not None and found.needed > found.n_tests:
        more = found.needed - found.n_tests
        wanted = {
            "n": more,
            "people": number(round(100 * found.distinguishers)),
            "sure": number(round(100 * found.target_power)),
        }
        sentences.append(
            ngettext(
                "%(n)s more answer is needed to find with %(sure)s %% that %(people)s %% of people tell them apart.",
                "%(n)s more answers are needed to find with %(sure)s %% that %(people)s %% of people tell them apart.",
                more,
            )
            % wanted
        )
    return sentences


def difference_words(distinguishers: float, *, answers: int | None) -> str:
    """Say which difference a test is to find, and how many answers that takes."""
    values = {"people": number(round(100 * distinguishers)), "answers": answers}
    return _("that %(people)s %% of people taste: %(answers)s answers") % values


def certainty(found: Triangle) -> str:
    """Say how likely so many right answers are by guessing, and with which probability a difference would be found."""
    figures = {
        "p": number(float(f"{found.p:.2g}")),
        "power": number(round(100 * found.power)),
        "people": number(round(100 * found.distinguishers)),
    }
    return (
        _(
            "By guessing alone at least as many would be right with a probability of %(p)s (exact binomial, one third"
            " by guessing, ISO 4120). If %(people)s %% of people told them apart, so many answers would show it with"
            " %(power)s %%."
        )
        % figures
    )
