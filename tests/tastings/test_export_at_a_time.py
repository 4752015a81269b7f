"""Two exports of one team at the same time, with real transactions."""

from threading import Thread

import pytest
from django.db import connection

from tests.api.problems import refusal
from tests.api.records import Place
from tests.factories import NoteFactory
from tests.tastings.export_factory import lines_of, open_zip


@pytest.mark.django_db(transaction=True)
def test_one_export_of_a_team_at_a_time_from_one_snapshot(owner, stranger):
    place = Place(owner)
    first = iter(owner.client.get("/api/v1/team/export").streaming_content)
    pieces = [next(first)]
    answers = []

    def ask():
        NoteFactory(session=place.session, descriptor=place.descriptor)
        answers.append(refusal(owner.client.get("/api/v1/team/export"))[:2])
        answers.append(open_zip(stranger.client.get("/api/v1/team/export")).testzip())
        connection.close()

    other = Thread(target=ask)
    other.start()
    other.join()
    opened = open_zip([*pieces, *first])

    assert answers == [(409, "under-way"), None]
    assert [line["id"] for line in lines_of(opened, "notes")] == [str(place.note.id)]
    assert len(lines_of(open_zip(owner.client.get("/api/v1/team/export")), "notes")) == 2
