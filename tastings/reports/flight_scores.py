"""What the page shows on which a taster writes scores down."""

from tastings.answers.flights import FlightItem
from tastings.maths.flights.factors import COVERED_BOWL_WEIGHTS
from tastings.maths.flights.factors import FACTORS as WEIGHED
from tastings.queries.own_scores import FACTORS, LIKING, STRENGTH, WORDS, OwnCup, is_weighed
from tastings.wording import flights as words


def score_labels(flight: FlightItem) -> dict[str, str]:
    """Return what each score of a cup is called."""
    weighed = is_weighed(flight)
    names = [score.name for score in (FACTORS if weighed else (LIKING,))]
    labels = dict(zip(names, words.factors(weighted=weighed), strict=True))
    return {STRENGTH.name: words.strength(), **labels, WORDS.name: words.own_words()}


def missing_score(flight: FlightItem, cup: OwnCup) -> str:
    """Say what a cup lacks to count; nothing where it is complete, or not begun."""
    if not cup.is_stored:
        return ""
    needed = [LIKING.name]
    if is_weighed(flight):
        weights = COVERED_BOWL_WEIGHTS.get(flight.weights_for or "") or {
            name: getattr(flight, f"weight_{name}_pct") or 0 for name in WEIGHED
        }
        needed = [score.name for score, name in zip(FACTORS, WEIGHED, strict=True) if weights[name] > 0]
    labels = score_labels(flight)
    missing = [labels[name] for name in needed if name not in cup.values]
    return words.does_not_count(missing) if missing else ""
