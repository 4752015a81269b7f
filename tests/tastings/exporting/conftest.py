"""A full team and its export, made once for each file; photos of a test lie in its own folder."""

import io
import shutil
import zipfile
from unittest.mock import patch

import pytest
from django.conf import settings as django_settings
from django.db import transaction
from django.test import override_settings
from django.utils import timezone

from tastings.models import PhotoContent
from tastings.models.photo_files import image_key, store
from tastings.queries.exporting import ExportScope, export
from tastings.queries.photos import name_on_disk
from teams.models import Team
from tests.api.world import undone
from tests.factories import SessionFactory, TeamFactory
from tests.tastings.export_factory import (
    a_flight,
    delete_team,
    fill_team,
)
from tests.tastings.photos.conftest import folder as _folder  # noqa: F401 - photos of a test lie in its own folder


def fill(team):
    """Fill a team with something of everything, flights in three states included; return its people."""
    people = fill_team(team)
    for state in ("tasting", "revealed", "called_off"):
        _, cup, lots = a_flight(team, by=people[0], taster=people[1], state=state)
        revealed = state == "revealed"
        SessionFactory(
            lot=lots[0] if revealed else None, team=team, by=people[1].user, flight_cup=cup, shared_once=revealed
        )
    return people


@pytest.fixture(scope="module")
def filled(django_db_setup, django_db_blocker, tmp_path_factory):
    """A full team with its people, the folder of its photos, and the operator's export of it."""
    photos = tmp_path_factory.mktemp("filled") / "photos"
    with django_db_blocker.unblock(), undone():
        with (
            override_settings(PHOTOS_DIR=photos, PHOTOS_LEAVE_FREE_BYTES=0),
            patch.object(transaction, "on_commit", lambda work, **_: None if work.__name__ == "send" else work()),
        ):
            team = TeamFactory(name="Kettle & Lid")
            people = fill(team)
            exported = b"".join(export(ExportScope(Team.objects.get(id=team.id)), now=timezone.now()))
        yield team, people, photos, exported


@pytest.fixture
def team(filled, db):
    return filled[0]


@pytest.fixture
def full(filled, team):
    """The people of the full team; its photos are the test's own."""
    shutil.copytree(filled[2], django_settings.PHOTOS_DIR)
    return filled[1]


@pytest.fixture
def opened(filled):
    """The operator's export."""
    return zipfile.ZipFile(io.BytesIO(filled[3]))


@pytest.fixture
def taken(filled, full, team, tmp_path):
    """The operator's export as a file; the team is gone from the database, and its pictures from the disk."""
    path = tmp_path / "team.zip"
    path.write_bytes(filled[3])
    for content in PhotoContent.objects.filter(team=team):
        store().delete(image_key(team.id, name_on_disk(content)))
    delete_team(team)
    return path
