"""What each cup scored, from the scores that count: no database, figures by hand."""

import pytest

from tastings.figures import to_stored
from tastings.maths.flights.cups import Cup
from tastings.models import Flight
from tastings.queries.flight_scores import CountedScores, CountedSession, Rating, counted_scores, scores_of

ALL_TASTE = {"taste": 100.0}


def session(name, *ratings, cup=None, began="10:00", lot="lot", taster="ina", sitting=1, private=False, **admitted):
    """Return a session as it counts; a rating is a moment, points and perhaps the infusion."""
    notes = tuple(
        Rating(f"{name}-{i}", infusion, moment, points)
        for i, (moment, points, infusion) in enumerate(map(_whole, ratings))
    )
    began = f"2026-03-04T{began}:00.000Z"
    return CountedSession(
        session=name, taster=taster, lot=lot, sitting=sitting, began=began, private=private, ratings=notes,
        cup=cup, **admitted,
    )  # fmt: skip


def _whole(rating):
    moment, points, *infusion = rating
    return moment, points, *(infusion or [""])


def scores(*sessions, weights=None):
    counted = to_stored(CountedScores(7, sessions), decimals=None)
    return scores_of(Flight(counted=counted, weights=weights or {}))


def reasons(found):
    return [(one.session, one.reason) for one in found.left_out]


def points(*ratings, weights=None, measure="liking"):
    """Return the score of the only cup, or None."""
    cups = scores(session("s", *ratings), weights=weights).cups
    return cups[measure][0].score if measure in cups else None


def test_nothing_counts_before_the_scores_are_frozen():
    found = scores_of(Flight(counted=None, weights=ALL_TASTE))
    assert (found.cups, found.left_out) == ({}, [])
    assert counted_scores(Flight(counted=None)) == CountedScores(0, ())


def test_cup_says_what_was_in_it_who_tasted_it_and_where_it_stood():
    late = session("s1", ("mouth", 7.0), began="10:20", lot="late")
    early = session("s2", ("mouth", 4.0), began="10:10", lot="early")
    other_sitting = session("s3", ("mouth", 5.0), began="10:30", lot="next day", sitting=2)
    other_taster = session("s4", ("mouth", 6.0), began="10:40", lot="hers", taster="ole")
    found = scores(late, early, other_sitting, other_taster)

    assert found.cups == {
        "liking": [
            Cup("early", "ina", "ina 1", 1, 4.0),
            Cup("late", "ina", "ina 1", 2, 7.0),
            Cup("next day", "ina", "ina 2", 1, 5.0),
            Cup("hers", "ole", "ole 1", 1, 6.0),
        ]
    }
    assert found.left_out == []


def test_sessions_begun_at_one_moment_stand_in_the_order_of_their_ids():
    found = scores(session("b", ("mouth", 4.0), lot="second"), session("a", ("mouth", 7.0), lot="first"))
    assert [(cup.lot, cup.position) for cup in found.cups["liking"]] == [("first", 1), ("second", 2)]


def test_cup_without_a_liking_was_tasted_all_the_same_a_private_or_repeated_one_takes_no_place():
    found = scores(
        session("private", ("mouth", 9.0), began="10:00", cup="w", private=True),
        session("silent", began="10:01", cup="x"),
        session("first", ("mouth", 5.0), began="10:02", cup="y"),
        session("again", ("mouth", 8.0), began="10:03", cup="y"),
        session("last", ("mouth", 6.0), began="10:04", cup="z"),
    )
    assert [(cup.score, cup.position) for cup in found.cups["liking"]] == [(5.0, 2), (6.0, 3)]
    assert reasons(found) == [("private", "private"), ("silent", "no_liking"), ("again", "same_cup")]


@pytest.mark.parametrize(
    ("ratings", "expected"),
    [
        ([("mouth", 6.0)], 6.0),
        ([("finish", 6.0)], 6.0),
        ([("body", 6.0)], 6.0),
        ([("dry_leaf", 6.0)], None),
        ([("liquor", 6.0)], None),
        ([("mouth", 4.0), ("finish", 7.0)], 5.5),
        # over infusions, and over the notes of an infusion first: (mean of 2 and 4, 9) is 6, the mean of all is 5
        ([("mouth", 2.0, "one"), ("finish", 4.0, "one"), ("mouth", 9.0, "two")], 6.0),
        ([("mouth", 2.0, "one"), ("body", 8.0)], 8.0),
        ([("dry_leaf", 2.0), ("mouth", 8.0, "one")], 8.0),
    ],
)
def test_liking_is_of_the_cup_as_it_was_drunk(ratings, expected):
    assert points(*ratings) == expected


@pytest.mark.parametrize(
    ("moment", "factor"),
    [
        ("dry_leaf", "dry_leaf"),
        ("liquor", "liquor_colour"),
        ("lid", "aroma"),
        ("warmed_leaf", "aroma"),
        ("wet_leaf", "aroma"),
        ("empty_cup", "aroma"),
        ("mouth", "taste"),
        ("finish", "taste"),
        ("spent_leaf", "spent_leaf"),
    ],
)
def test_each_moment_speaks_of_its_factor(moment, factor):
    assert points((moment, 8.0), weights={factor: 100.0}, measure="weighted") == 80
    assert points(("body", 8.0), weights={factor: 100.0}, measure="weighted") is None


def test_weighted_score_is_of_a_hundred_and_needs_the_factors_that_weigh_something():
    weights = {"taste": 99.0, "aroma": 1.0, "dry_leaf": 0.0}
    both = session("both", ("mouth", 7.0), ("lid", 3.0), ("wet_leaf", 9.0), began="10:00")
    taste_alone = session("taste alone", ("mouth", 6.0), began="10:01", lot="other")
    found = scores(both, taste_alone, weights=weights)

    assert found.cups == {
        "liking": [Cup("lot", "ina", "ina 1", 1, 7.0), Cup("other", "ina", "ina 1", 2, 6.0)],
        "weighted": [Cup("lot", "ina", "ina 1", 1, 69.9)],  # 99 x 70 + 1 x the mean of 30 and 90, in percent
    }
    assert reasons(found) == [("taste alone", "factors_missing")]


def test_of_the_sessions_of_a_cup_the_first_of_those_with_most_scores_counts():
    weights = {"liquor_colour": 100.0}
    bare = session("bare", ("mouth", 1.0), began="10:00", cup="x")
    whole = session("whole", ("mouth", 2.0), ("liquor", 5.0), began="10:01", cup="x")
    again = session("again", ("mouth", 3.0), ("liquor", 5.0), began="10:02", cup="x")
    found = scores(bare, whole, again, weights=weights)

    assert [cup.score for cup in found.cups["liking"]] == [2.0]
    assert reasons(found) == [("bare", "same_cup"), ("again", "same_cup")]


def test_session_admitted_last_counts_for_its_cup_whatever_else_was_scored():
    weights = {"liquor_colour": 100.0}
    whole = session("whole", ("mouth", 1.0), ("liquor", 5.0), began="10:00", cup="x")
    earlier = session("earlier", ("mouth", 2.0), began="10:01", cup="x", admitted_at="2026-03-05T09:00:00.000Z")
    later = session("later", ("mouth", 3.0), began="10:02", cup="x", admitted_at="2026-03-05T10:00:00.000Z")
    private = session("private", ("mouth", 4.0), cup="x", private=True, admitted_at="2026-03-05T11:00:00.000Z")
    silent = session("silent", cup="x", admitted_at="2026-03-05T12:00:00.000Z")
    found = scores(silent, private, later, earlier, whole, weights=weights)

    assert [cup.score for cup in found.cups["liking"]] == [3.0]
    assert "weighted" not in found.cups
    assert set(reasons(found)) == {
        ("whole", "same_cup"), ("earlier", "same_cup"), ("private", "private"), ("silent", "no_liking"),
        ("later", "factors_missing"),
    }  # fmt: skip


def test_sessions_from_before_cups_were_stored_all_count():
    found = scores(session("a", ("mouth", 4.0)), session("b", ("mouth", 6.0)))
    assert [cup.score for cup in found.cups["liking"]] == [4.0, 6.0]
