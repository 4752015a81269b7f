"""Recording triangle tests and their answers."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import cast
from uuid import UUID, uuid5

from django.db import transaction
from django.utils.translation import gettext as _

from lots.bodies import clean_body
from tastings.audit_events import TastingEvent
from tastings.errors import not_yours
from tastings.models import Trial, TriangleTaster, TriangleTest
from tastings.queries.records import record_for
from tastings.queries.triangles import cup_sets_of, may_pour, triangle_test_for
from tastings.schemas import TRIAL, TRIANGLE_TASTERS, TRIANGLE_TEST
from teams.actions.audit import record_event
from teams.actions.revisions import lock_team
from teams.errors import Invalid, NotFound, Problem
from teams.models import Member
from teams.queries.people import member_for, members_of, require_writer
from teams.row_security import is_id_in_use


@transaction.atomic
def record_triangle_test(member: Member, *, test: UUID, sent: Mapping[str, object], now: datetime) -> None:
    """Record a new test under the id its client made; the same one sent again changes nothing.

    Raise Invalid for a field, an unknown lot, or an id in use.
    """
    require_writer(member)
    lock_team(member.team_id)  # the same sent twice at once comes one after the other
    values = clean_body(TRIANGLE_TEST, sent)
    lots: dict[str, UUID] = {}
    problems = []
    for name in ("lot", "against"):
        lots[name] = UUID(str(values[name]))
        try:
            record_for(member, "lot", lots[name])
        except NotFound:
            problems.append(Problem(name, "unknown_parent", _("the team has no such lot")))
    if lots["lot"] == lots["against"]:
        problems.append(Problem("against", "itself", _("a tea is tested against another")))
    columns = {
        "team_id": member.team_id,
        "lot_id": lots["lot"],
        "against_id": lots["against"],
        "held_on": date.fromisoformat(str(values["held_on"])),
        "alpha": values.get("alpha") or 0.05,
        "distinguishers": values.get("distinguishers") or 0.3,
        "remarks": values.get("remarks") or "",
        "by_id": member.user_id,
    }
    is_used = is_id_in_use("triangle_test", test)
    if is_used and not problems and TriangleTest.objects.filter(id=test, **columns).exists():
        return
    if is_used:
        problems.append(Problem("id", "taken", _("choose another id")))
    if problems:
        raise Invalid(problems=problems)
    TriangleTest.objects.create(id=test, created_at=now, **columns)


@transaction.atomic
def choose_tasters(member: Member, *, test: UUID, sent: Mapping[str, object]) -> None:
    """Store who is to taste in a test and how often, in place of who was chosen before; answers given stay.

    Raise NotFound for an unknown test, NotAllowed if the member neither made the test nor is buyer or owner, Invalid
    for somebody who is no member who tastes or if the test has fewer cups than answers are asked for.
    """
    row = triangle_test_for(member, test)
    require_writer(member)
    if not may_pour(member, row):
        raise not_yours("tasters", _("who tastes is chosen by whoever made the test, buyers and owners"))
    values = clean_body(TRIANGLE_TASTERS, sent)
    chosen = [UUID(str(taster)) for taster in cast("list[str]", values.get("tasters") or [])]
    each = int(cast("int", values.get("answers_each") or 1))
    here = {present.user_id: present.may_write for present in members_of(member) if present.left_at is None}
    problems = []
    if any(not here.get(taster) for taster in chosen):
        problems.append(Problem("tasters", "unknown_parent", _("only members who may taste")))
    if len(chosen) * each > (most := len(cup_sets_of(row))):
        counts = {"answers": len(chosen) * each, "most": most}
        problems.append(
            Problem("answers_each", "range", _("that is %(answers)s answers; the test has cups for %(most)s") % counts)
        )
    if problems:
        raise Invalid(problems=problems)
    lock_team(member.team_id)
    TriangleTaster.objects.filter(test=row).delete()
    TriangleTaster.objects.bulk_create(
        TriangleTaster(team_id=member.team_id, test=row, user_id=taster, answers=each) for taster in chosen
    )


@transaction.atomic
def record_trial(member: Member, *, test: UUID, trial: UUID, sent: Mapping[str, object], now: datetime) -> None:
    """Record one answer; the same one sent again changes nothing.

    Raise NotFound for an unknown test; NotAllowed if the member only reads, or records another's answer in another's
    test without being buyer or owner; Invalid for a field, a taster who is no member, or the id of another answer.
    """
    row = triangle_test_for(member, test)
    require_writer(member)
    lock_team(member.team_id)
    values = clean_body(TRIAL, sent)
    taster = UUID(str(values["taster"])) if values.get("taster") else None
    if member.user_id not in (row.by_id, taster) and not member.decides:
        raise not_yours("taster", _("in another's test you record your own answers"))
    if taster is not None:
        try:
            member_for(member, taster)
        except NotFound as error:
            raise Invalid(problems=[Problem("taster", "unknown_parent", _("is no member of this team"))]) from error
    if is_id_in_use("trial", trial):
        stored = Trial.objects.filter(test=row, id=trial).first()
        if stored is None or (stored.taster_id, stored.correct) != (taster, values["correct"]):
            raise Invalid(problems=[Problem("id", "taken", _("choose another id"))])
        return
    Trial.objects.create(
        id=trial,
        test=row,
        taster_id=taster,
        correct=cast("bool", values["correct"]),
        by_id=member.user_id,
        created_at=now,
    )


@transaction.atomic
def record_answer(member: Member, *, test: UUID, code: str, taster: UUID | None, now: datetime) -> None:
    """Record which cup somebody named as the odd one, by its code; each set of three cups is answered once.

    Raise NotFound and NotAllowed as `record_trial`, Invalid if no cup has this code, its set is answered, or the taster
    is no member.
    """
    row = triangle_test_for(member, test)
    require_writer(member)
    named = [(i, cups) for i, cups in enumerate(cup_sets_of(row), start=1) if code in map(str, cups.codes)]
    if not named:
        raise Invalid(problems=[Problem("code", "wrong", _("no cup of this test has this code"))])
    [(number, cups)] = named
    trial = uuid5(test, f"cups {number}")
    lock_team(member.team_id)
    if is_id_in_use("trial", trial):
        raise Invalid(problems=[Problem("code", "taken", _("these three cups are answered already"))])
    sent = {"taster": None if taster is None else str(taster), "correct": code == str(cups.odd)}
    record_trial(member, test=test, trial=trial, sent=sent, now=now)


@transaction.atomic
def withdraw_trial(member: Member, *, test: UUID, trial: UUID, now: datetime) -> None:
    """Take an answer out of the count; it stays on record.

    Raise NotFound if there is none or it is withdrawn already, NotAllowed if the member only reads, or neither recorded
    the answer, nor made the test, nor is buyer or owner.
    """
    row = triangle_test_for(member, test)
    require_writer(member)
    stored = Trial.objects.filter(test=row, id=trial, withdrawn_at=None).first()
    if stored is None:
        raise NotFound
    if member.user_id not in (row.by_id, stored.by_id):
        if not member.decides:
            raise not_yours("id", _("only who recorded it, a buyer or an owner changes this"))
        about = {"type": "trial", "record": str(trial), "test": str(test), "fields": ["withdrawn_at"]}
        record_event(team=member.team_id, login=member.user_id, event=TastingEvent.CORRECTION, about=about, now=now)
    if not Trial.objects.filter(id=trial, withdrawn_at=None).update(withdrawn_at=now):
        raise NotFound
