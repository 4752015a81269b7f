"""What a refused change raises where it was the only one."""

from tastings.actions.push import Verdict
from tastings.errors import QuotaFull
from teams.errors import Invalid, NotAllowed, NotFound, PreconditionFailed


def refusal_of(verdict: Verdict) -> Exception:
    """Return what a refused change raises."""
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
