"""The exception for a refused change that was sent alone."""

from tastings.actions.push import Verdict
from tastings.errors import QuotaFull
from teams.errors import Invalid, NotAllowed, NotFound, PreconditionFailed


def refusal_of(verdict: Verdict) -> Exception:
    """Return the exception for a refused change."""
    codes = {problem.code for problem in verdict.problems}
    if "changed" in codes:
        return PreconditionFailed()
    if codes & {"not_allowed", "not_yours"}:
        return NotAllowed(verdict.problems[0].detail, problems=verdict.problems)
    if "quota" in codes:
        return QuotaFull(verdict.problems[0])
    if "unknown_record" in codes:
        return NotFound()
    return Invalid(problems=verdict.problems)
