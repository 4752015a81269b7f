"""Why a flight has no serving plan, from the code that is stored to the sentence that is read."""

from dataclasses import replace
from typing import get_args
from uuid import UUID

import pytest
from django.utils import timezone
from django.utils.translation import override

from tastings.actions.flights.planning import plan_flight
from tastings.maths.flights.serving import PlanError, plan_servings
from tastings.maths.flights.sittings import PlanProblem
from tastings.models import Flight
from tastings.wording.plan_failures import PlanFailure, plan_failure
from tests.flights import flight_of

FAILED = PlanFailure("too_few_cups", lots=3, cups=2)


def test_every_code_has_a_sentence_of_its_own():
    codes = [*get_args(PlanProblem), "no_code_left"]
    assert len({plan_failure(replace(FAILED, code=code)) for code in codes}) == len(codes)
    assert plan_failure(FAILED) == "3 lots want a cup and 2 cups are free for them"
    assert plan_failure(PlanFailure("program_error", detail="ValueError: no")) == "ValueError: no"


def test_too_few_cups_are_counted():
    with pytest.raises(PlanError) as refused:
        plan_servings(lots="abcdef", tasters=["x"], cups=4, seed=1)
    assert (refused.value.field, refused.value.code) == ("lots", "too_few_cups")
    assert (refused.value.lots, refused.value.cups) == (6, 4)


@pytest.mark.django_db
@pytest.mark.parametrize("language", ["en", "de"])
def test_flight_that_cannot_be_planned_says_why(team, lexicon, language):
    flight = flight_of(team, planned=False, n_lots=6, n_tasters=1, cups_per_sitting=4)
    assert not plan_flight(UUID(flight.id), now=timezone.now())
    with override(language):
        expected = plan_failure(PlanFailure("too_few_cups", lots=6, cups=4))
    plan = flight.buyer.client.get(flight.address, HTTP_ACCEPT_LANGUAGE=language).json()["plan"]

    assert (plan["state"], plan["failure"]) == ("failed", expected)


@pytest.mark.django_db
def test_sentence_that_an_older_version_stored_is_read_as_it_is(team, lexicon):
    flight = flight_of(team)
    Flight.objects.filter(id=flight.id).update(plan_failure="nobody is there to taste")

    assert flight.buyer.client.get(flight.address).json()["plan"]["failure"] == "nobody is there to taste"
