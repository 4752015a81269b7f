"""A folder for photos, a session and a lot to hang them on."""

import pytest
from django.db import transaction

from tests.factories import LotFactory, SessionFactory


@pytest.fixture(autouse=True)
def folder(settings, tmp_path, monkeypatch):
    """Where photos lie; what waits for a commit is done at once, but for messages to the worker."""
    settings.PHOTOS_DIR, settings.PHOTOS_LEAVE_FREE_BYTES = tmp_path / "photos", 0
    monkeypatch.setenv("LEAFSPAN_PHOTOS", str(tmp_path / "photos"))  # for a worker that a test starts
    monkeypatch.setattr(transaction, "on_commit", lambda work, **_: None if work.__name__ == "send" else work())
    return tmp_path / "photos"


@pytest.fixture
def lot(taster):
    return LotFactory(team=taster.team, by=taster.user)


@pytest.fixture
def session(lot):
    return SessionFactory(lot=lot)
