"""A lot to report on, and photos of it."""

import hashlib
from datetime import UTC, datetime
from uuid import uuid4

from django.utils import timezone

from pages import reports
from tastings.actions.developments import refresh_development
from tastings.models import Photo, PhotoContent
from tastings.models.photo_files import write_photo
from tastings.queries.cache import LRUCache
from tastings.queries.photos import name_on_disk
from tests.api.phone import sync
from tests.api.test_development import session_of
from tests.factories import LotFactory


def tasted_lot(person):
    """Return a lot with one session and its figures."""
    lot = LotFactory(team=person.team, by=person.user, name="Mist Ridge", country="CN", roast="none")
    sync(person.client, session_of(lot.id, [6, 7.5, 7, 6, 5]))
    refresh_development(lot.id, now=datetime.now(UTC))
    return lot


def photo_of(person, *, of="liquor", **parents):
    """Keep a photo whose picture and thumbnail are a few bytes."""
    thumbnail = f"thumbnail {uuid4()}".encode()
    content = PhotoContent.objects.create(
        team=person.team, sha256=hashlib.sha256(thumbnail).hexdigest(), bytes=9, width=640, height=480,
        image_sha256="b" * 64, thumbnail_sha256=hashlib.sha256(thumbnail).hexdigest(), created_at=timezone.now(),
    )  # fmt: skip
    write_photo(person.team.id, name_on_disk(content), image=b"image", thumbnail=thumbnail)
    photo = Photo.objects.create(
        id=uuid4(), team=person.team, sha256=content.sha256, bytes=9, received=9, of=of, by=person.user, state="kept",
        content=content, created_at=timezone.now(), touched_at=timezone.now(), **parents,
    )  # fmt: skip
    return photo, thumbnail


def forget_reports(monkeypatch):
    """Begin with no cached report: a lot that several tests share has the same revision again once a test is undone."""
    for name in ("_by_state", "_by_content"):
        monkeypatch.setattr(reports, name, LRUCache(100))
