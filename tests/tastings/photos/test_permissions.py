"""Who may add, measure and delete photos: of one's own sessions and those one took; owners and buyers all they see."""

from uuid import UUID

import pytest

from tastings.models import Photo
from teams.models import AuditEntry
from tests.api.problems import refusal
from tests.factories import LotFactory, SessionFactory, person
from tests.tastings.photos.photographs import LIQUOR, WHITE, announce, phone_photo, upload_and_check

pytestmark = pytest.mark.django_db


@pytest.fixture
def colleague(team):
    """Another taster."""
    return person(team, "taster")


@pytest.fixture
def session(taster):
    return SessionFactory(lot=LotFactory(team=taster.team, by=taster.user))


def forbidden(answer):
    """Return field and code of a 403."""
    status, _, problems = refusal(answer)
    return problems if status == 403 else status


def test_a_taster_adds_no_photo_to_anothers_session(session, taster, colleague):
    assert forbidden(announce(colleague, b"xx", session=str(session.id))[1]) == {("session", "not_yours")}
    assert not Photo.objects.exists()
    assert announce(taster, b"xx", session=str(session.id))[1].status_code == 201
    assert announce(colleague, b"xy", lot=str(session.lot_id))[1].status_code == 201


def test_a_taster_deletes_and_measures_no_photo_of_another(session, taster, colleague, folder):
    address, _ = upload_and_check(taster, phone_photo(), session=str(session.id))
    colour = {"white": WHITE, "liquor": LIQUOR}
    assert forbidden(colleague.client.delete(address)) == {("id", "not_yours")}
    assert forbidden(colleague.client.post(f"{address}colour", colour)) == {("id", "not_yours")}
    assert taster.client.post(f"{address}colour", colour).status_code == 200
    assert not AuditEntry.objects.filter(what="correction").exists()


def test_what_a_buyer_does_with_anothers_photos_is_in_the_audit_log(session, taster, buyer, folder):
    address, _ = upload_and_check(taster, phone_photo(), session=str(session.id))
    photo = address.split("/")[-2]
    assert buyer.client.post(f"{address}colour", {"white": WHITE, "liquor": LIQUOR}).status_code == 200
    assert buyer.client.delete(address).status_code == 204
    entries = [one.about for one in AuditEntry.objects.filter(what="correction", who=buyer.user).order_by("at")]
    assert [(one["type"], one["record"], one["fields"]) for one in entries] == [
        ("photo", photo, ["colour"]),
        ("photo", photo, ["deleted"]),
    ]
    assert {UUID(one["taster"]) for one in entries} == {taster.user.id}


def test_a_taster_deletes_a_buyers_photo_of_their_own_session(session, taster, buyer):
    address, answer = announce(buyer, b"xx", session=str(session.id))
    assert answer.status_code == 201
    assert taster.client.delete(address).status_code == 204
