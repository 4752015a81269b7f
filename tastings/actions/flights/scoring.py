"""Storing what a taster wrote on one page for the cups of a flight: sessions and notes, as a phone would push them."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction

from lots.merge import DELETED
from lots.schema import format_stamp
from tastings.actions.push import Change, push_changes
from tastings.answers.flights import FlightItem
from tastings.errors import WrongState
from tastings.queries.own_scores import Score, note_of_cup, own_cups, scores_asked, session_of_cup
from tastings.wording.flights import flight_is
from teams.errors import Invalid, Problem
from teams.models import Member

Written = Mapping[str, float | str | None]
"""Scores of one cup by name; None takes one back."""


def store_scores(  # noqa: PLR0913 - who, of what, how brewed, when
    member: Member,
    flight: FlightItem,
    written: Mapping[UUID, Written],
    *,
    brew: Mapping[str, object],
    device: UUID,
    now: datetime,
) -> None:
    """Store what was changed of the member's own cups; all of it or nothing.

    ``written`` is by cup what is other than before, ``brew`` how the cups were brewed as fields of a session. Raise
    WrongState if the flight was called off, Invalid for a value, with the field ``<cup>.<score>``.
    """
    if flight.state == "called_off":
        raise WrongState(flight_is(flight.state))
    own = [cup for cup in own_cups(member, flight) if cup.cup.id in written and cup.elsewhere is None]
    changes: list[tuple[str, Change]] = []
    for i, item in enumerate(own):
        cup = item.cup.id
        if not item.is_stored:
            # written at one moment: a second apart, since the order of the cups is that of their beginnings
            started_at = now - timedelta(seconds=len(own) - i)
            changes.append(("", _session_change(member, cup, brew=brew, started_at=started_at)))
        changes += [
            (f"{cup}.{score.name}", _note_change(cup, score, written[cup][score.name]))
            for score in scores_asked(flight)
            if score.name in written[cup]
        ]
    with transaction.atomic():
        verdicts = push_changes(member, device=device, changes=[change for _, change in changes], now=now)
        problems = [
            Problem(field or problem.field, problem.code, problem.detail)
            for (field, _), verdict in zip(changes, verdicts, strict=True)
            if verdict.verdict == "refused"
            for problem in verdict.problems
        ]
        if problems:
            raise Invalid(problems=problems)


def _session_change(member: Member, cup: UUID, *, brew: Mapping[str, object], started_at: datetime) -> Change:
    fields = {
        "flight_cup": str(cup),
        "started_at": format_stamp(started_at),
        "shop": str(member.shop_id) if member.shop_id else None,
        "purpose": "selection",
        **brew,
    }
    return Change(type="session", id=session_of_cup(cup), fields=fields, stamp=None, expected=None)


def _note_change(cup: UUID, score: Score, value: float | str | None) -> Change:
    fields: dict[str, object] = {"session": str(session_of_cup(cup)), "moment": score.moment}
    if value is None:
        fields = {DELETED: True}
    elif score.descriptor is None:
        fields["text"] = value
    else:
        fields |= {"descriptor": score.descriptor, "intensity": value}
    return Change(type="note", id=note_of_cup(cup, score), fields=fields, stamp=None, expected=None)
