"""Time zones of teams, beside the rules of the European Union and PEP 495.

Directive 2000/84/EC, articles 2 and 3: the clocks go forward at 1:00 UTC on the last Sunday of March and back at 1:00
UTC on the last Sunday of October. In Berlin, an hour ahead of UTC in winter, 2:30 is missing on 29 March 2026 and comes
twice on 25 October 2026.
"""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from teams.models import Team
from teams.time_zones import is_missing, is_repeated, time_zone_names, zone_named
from tests.api.problems import refusal

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(
    ("typed", "missing", "repeated"),
    [
        ("2026-03-29T01:59", False, False),
        ("2026-03-29T02:00", True, False),
        ("2026-03-29T02:59", True, False),
        ("2026-03-29T03:00", False, False),
        ("2026-10-25T01:59", False, False),
        ("2026-10-25T02:00", False, True),
        ("2026-10-25T02:59", False, True),
        ("2026-10-25T03:00", False, False),
    ],
)
@pytest.mark.parametrize("fold", [0, 1])
def test_hour_is_missing_in_march_and_comes_twice_in_october(typed, missing, repeated, fold):
    at = datetime.fromisoformat(typed).replace(tzinfo=BERLIN, fold=fold)
    assert (is_missing(at), is_repeated(at)) == (missing, repeated)


def test_names_are_places_and_an_unknown_one_reads_as_utc():
    assert {"UTC", "Europe/Berlin", "Asia/Kathmandu"} <= time_zone_names()
    assert {"Factory", "localtime", "Europe"} & time_zone_names() == set()
    assert [str(zone_named(name)) for name in ("Asia/Taipei", "Mars/Olympus", "../../etc/passwd", "Europe", "")] == [
        "Asia/Taipei", "UTC", "UTC", "UTC", "UTC"
    ]  # fmt: skip


def test_owner_sets_the_zone_by_the_api_and_others_read_it(owner, taster):
    assert owner.client.get("/api/v1/team").json()["time_zone"] == "UTC"
    assert owner.client.patch("/api/v1/team", {"time_zone": "Asia/Taipei"}).json()["time_zone"] == "Asia/Taipei"
    assert taster.client.get("/api/v1/team").json()["time_zone"] == "Asia/Taipei"
    assert taster.client.patch("/api/v1/team", {"time_zone": "UTC"}).status_code == 403
    for wrong in ("Mars/Olympus", "", 5, "europe/berlin"):
        refused = refusal(owner.client.patch("/api/v1/team", {"time_zone": wrong}))
        assert refused == (422, "invalid", {("time_zone", "choice")}), wrong
    owner.client.patch("/api/v1/team", {"name": "Kettle & Bowl", "time_zone": None})
    assert Team.objects.get().time_zone == "Asia/Taipei"
