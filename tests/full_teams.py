"""Two teams with something in every table, made once for a class or a file of tests."""

from contextlib import contextmanager
from unittest.mock import patch

import pytest
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.db import connection
from django.test import override_settings

from lots.models import Lot
from tastings.actions.lexicon import load_lexicon
from tastings.models import RenderedDocument, Share
from teams.actions.sign_in_codes import create_sign_in_code
from teams.actions.stored_answers import reserve_key
from teams.models import AuditEntry
from tests.api.world import QUICK, undone
from tests.factories import NOON, TeamFactory
from tests.flights import flight_of
from tests.tastings.export_factory import fill_team


@contextmanager
def two_full_teams(folder):
    """Make the two teams with their photos in a folder, and undo them in the database at the end."""
    with (
        patch.multiple(Argon2PasswordHasher, **QUICK),
        override_settings(PHOTOS_DIR=folder, PHOTOS_LEAVE_FREE_BYTES=0),
        undone(),
    ):
        load_lexicon()
        both = (TeamFactory(name="Kettle & Lid"), TeamFactory(name="Other House"))
        for one in both:
            owner, *_ = fill_team(one)
            flight_of(one, buyer=owner)
            owner.client.post("/api/v1/invitations/", {"role": "taster", "shop": str(owner.member.shop_id)})
            lot = Lot.objects.filter(team=one).first()
            Share.objects.create(
                team=one, lot=lot, shows="report", lang="en", by=owner.user, created_at=NOON, expires_at=NOON
            )
            create_sign_in_code(owner.member, now=NOON)
            reserve_key(owner.member, key="first", request="0" * 64, now=NOON)
            RenderedDocument.objects.create(
                team=one, digest="0" * 64, layout="card", form="pdf", asked_at=NOON, used_on=NOON.date()
            )
            AuditEntry.objects.create(team=one, what="export", at=NOON)
            with connection.cursor() as cursor:
                cursor.execute(
                    "INSERT INTO tastings_teampanel (team_id, due_revision, computed_revision, method, version,"
                    " line_mean, line_sd, slopes, scales, figures) VALUES"
                    " (%s, 0, 0, '', 0, 2.5, 1, '{}', '{}', '{}') ON CONFLICT DO NOTHING",
                    [one.id],
                )
        AuditEntry.objects.create(team=None, what="failed_sign_in", at=NOON)
        yield both


class FullTeams:
    """For a class of tests: the two teams are made once for it, and each test gets them as they were."""

    @pytest.fixture(scope="class")
    @classmethod
    def full_teams(cls, django_db_setup, django_db_blocker, tmp_path_factory):
        with django_db_blocker.unblock(), two_full_teams(tmp_path_factory.mktemp("photos")) as both:
            yield both

    @pytest.fixture
    def full(self, full_teams, db):
        return full_teams
