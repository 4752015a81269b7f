"""Every job does its work as the application's role, acting for one team at a time and for none in the end."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.utils import timezone

from tastings import tasks
from tastings.jobs import Job
from tastings.models import Development, Flight, Note, Photo, RenderedDocument, TeamPanel
from teams.models import AuditEntry, DeviceToken, Invitation
from tests.api.records import Place
from tests.factories import NOON, DeviceTokenFactory, TeamFactory, person
from tests.full_teams import FullTeams
from tests.row_security import as_worker
from tests.tastings.photos.photographs import announce, on_disk, phone_photo, send

LONG_AGO = NOON - timedelta(days=3000)


@pytest.fixture(autouse=True)
def asked(monkeypatch):
    """Note what jobs are asked for instead of sending them anywhere."""
    found = []
    for module in ("tastings.actions.due", "tastings.actions.flights.jobs", "tastings.actions.photo_checks",
                   "tastings.actions.developments"):  # fmt: skip
        monkeypatch.setattr(f"{module}.later", lambda job, *about, **_: found.append((job, *about)))
    return found


def work(job, *about):
    """Run a job as a worker does, and see that nothing stays."""
    task = next(found for found in vars(tasks).values() if getattr(found, "name", None) == job.value)
    with as_worker():
        task(*map(str, about))
    assert connection.teams == ""


class TestFullTeams(FullTeams):
    """With two teams that have something in every table."""

    def test_lot_gets_its_figures_and_its_team_its_panel(self, full):
        ours, _ = full
        Development.objects.update(computed_revision=0, result=None)
        lot = Development.objects.filter(team=ours, due_revision__gt=0).first().lot_id
        work(Job.REFRESH_DEVELOPMENT, lot)

        done = Development.objects.filter(computed_revision__gt=0)
        assert [(one.lot_id, one.team_id, one.failure) for one in done] == [(lot, ours.id, "")]
        work(Job.REFRESH_PANEL, ours.id)
        assert list(TeamPanel.objects.exclude(computed_at=None).values_list("team_id", flat=True)) == [ours.id]

    def test_timetable_finds_what_is_behind_in_every_team(self, full, asked):
        asked.clear()
        Development.objects.update(asked_at=None)
        TeamPanel.objects.update(due_revision=5, computed_revision=0, asked_at=None, started_at=None)
        Flight.objects.update(answer_wanted=2, answer_made=1, answer_asked_at=None)
        work(Job.REFRESH_DUE)

        behind = {(Job.REFRESH_DEVELOPMENT, str(one.lot_id)) for one in Development.objects.all() if not one.up_to_date}
        assert {one.team_id for one in Development.objects.all() if not one.up_to_date} == {team.id for team in full}
        assert set(asked) == behind | {(Job.REFRESH_PANEL, str(team.id)) for team in full} | {
            (Job.ANSWER_FLIGHT, str(flight)) for flight in Flight.objects.values_list("id", flat=True)
        }

    def test_flight_is_planned_and_answered(self, full):
        flight = Flight.objects.filter(team=full[0], plan_made__gt=0).first()
        Flight.objects.filter(id=flight.id).update(plan_wanted=flight.plan_made + 1)
        work(Job.PLAN_FLIGHT, flight.id)
        assert Flight.objects.get(id=flight.id).plan_made == flight.plan_made + 1

        Flight.objects.filter(id=flight.id).update(state="revealed", revealed_at=NOON, answer_wanted=1, answer_made=0)
        work(Job.ANSWER_FLIGHT, flight.id)
        answered = Flight.objects.get(id=flight.id)
        assert (answered.answer_made, answered.answer_failure) == (1, "")

    def test_document_is_set(self, full, monkeypatch):
        document = RenderedDocument.objects.filter(team=full[0]).first()
        RenderedDocument.objects.filter(id=document.id).update(payload={"name": "Mist Ridge"})
        monkeypatch.setattr(tasks, "set_in_type", lambda layout, form, payload, *, pictures: payload["name"].encode())
        work(Job.TYPESET, document.id)

        assert bytes(RenderedDocument.objects.get(id=document.id).content) == b"Mist Ridge"

    def test_what_has_served_its_time_goes_in_every_team(self, full):
        for team in full:
            member = person(team, "owner").member
            DeviceTokenFactory(member=member, expires_at=LONG_AGO, device="old")
            Invitation.objects.filter(team=team).update(expires_at=LONG_AGO)
            Note.objects.filter(team=team).update(removed=True, updated_at=LONG_AGO)
        RenderedDocument.objects.update(used_on=LONG_AGO.date())
        AuditEntry.objects.update(at=LONG_AGO)
        for job in (Job.PRUNE, Job.TIDY_PEOPLE, Job.TIDY_PAPERS):
            work(job)

        gone = [
            Note.objects,
            RenderedDocument.objects,
            AuditEntry.objects,
            Invitation.objects,
            DeviceToken.objects.filter(device="old"),
        ]
        assert [rows.count() for rows in gone] == [0] * 5
        assert DeviceToken.objects.count() > 0


def uploaded(who):
    """Send a photo whole; return its id."""
    file = phone_photo()  # made once: its colour profile names the second it was made in
    address, answer = announce(who, file, lot=str(Place(who).lot.id), of="dry_leaf")
    assert send(who, address, file, 0).status_code == 200
    return answer.json()["id"]


def test_photo_is_checked_and_lost_checks_are_found(settings, tmp_path, taster, stranger, asked):
    settings.PHOTOS_DIR = tmp_path
    sent = [uploaded(who) for who in (taster, stranger)]
    Photo.objects.update(touched_at=LONG_AGO)
    asked.clear()
    work(Job.DUE_PHOTOS)
    assert {about for _, about in asked} == set(map(str, sent))
    work(Job.CHECK_PHOTO, sent[0])
    assert [Photo.objects.get(id=photo).state for photo in sent] == ["kept", "checking"]


def test_tidying_photos_keeps_the_bytes_of_an_upload_under_way(settings, tmp_path, taster, monkeypatch):
    settings.PHOTOS_DIR = tmp_path
    monkeypatch.setattr("tastings.actions.photo_checks._DAY_S", -10.0)  # files of just now count as old
    photo = uploaded(taster)
    work(Job.TIDY_PHOTOS)
    work(Job.CHECK_PHOTO, photo)
    work(Job.TIDY_PHOTOS)

    assert Photo.objects.get(id=photo).state == "kept"
    assert len(on_disk(tmp_path)) == 2


def test_job_about_what_is_gone_does_nothing(db):
    TeamFactory()
    for job in (Job.REFRESH_DEVELOPMENT, Job.REFRESH_PANEL, Job.CHECK_PHOTO, Job.TYPESET, Job.PLAN_FLIGHT,
                Job.ANSWER_FLIGHT):  # fmt: skip
        work(job, uuid4())
    assert Development.objects.count() == 0
    assert timezone.now() > NOON
