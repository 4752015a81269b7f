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
from tastings.queries.own_scores import note_of_cup, own_cups, scores_asked, session_of_cup
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

    Parameters
    ----------
    written
        By cup what is other than before.
    brew
        Fields of a session that say how the cups were brewed.

    Raises
    ------
    WrongState
        The flight was called off.
    Invalid
        A value is not valid; the field is ``<cup>.<score>``.
    """
    if flight.state == "called_off":
        raise WrongState(flight_is(flight.state))
    own = [one for one in own_cups(member, flight) if one.cup.id in written and one.elsewhere is None]
    changes: list[tuple[str, Change]] = []
    for i, one in enumerate(own):
        cup, session = one.cup.id, session_of_cup(one.cup.id)
        if not one.is_stored:
            # all at one moment: a second apart, since the order of the cups is that of their beginnings
            started = format_stamp(now - timedelta(seconds=len(own) - i))
            shop = str(member.shop_id) if member.shop_id else None
            fields = {"flight_cup": str(cup), "started_at": started, "shop": shop, "purpose": "selection", **brew}
            changes.append(("", Change(type="session", id=session, fields=fields, stamp=None, expected=None)))
        for score in scores_asked(flight):
            if score.name not in written[cup]:
                continue
            value, note = written[cup][score.name], note_of_cup(cup, score)
            of: dict[str, object] = {"session": str(session), "moment": score.moment}
            of |= {"text": value} if score.descriptor is None else {"descriptor": score.descriptor, "intensity": value}
            fields = {DELETED: True} if value is None else of
            change = Change(type="note", id=note, fields=fields, stamp=None, expected=None)
            changes.append((f"{cup}.{score.name}", change))
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
