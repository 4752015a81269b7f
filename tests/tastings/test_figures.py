"""Computed figures as JSON and back."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from uuid import UUID

import numpy as np
import pytest

from tastings.figures import Exact, UnreadableFiguresError, from_stored, to_stored


@dataclass(frozen=True, slots=True)
class Point:
    infusion: int
    mean: float
    observed: float | None


@dataclass(frozen=True, slots=True)
class Result:
    lot: UUID
    at: datetime
    on: date
    points: tuple[Point, ...]
    probability: dict[str, float]
    alpha: float


RESULT = Result(
    lot=UUID(int=7),
    at=datetime(2026, 3, 4, 10, 11, 12, 345000, tzinfo=UTC),
    on=date(2026, 3, 4),
    points=(Point(1, 4.5, None), Point(2, np.float64(6.25), 6.0)),
    probability={"build_up": 0.875},
    alpha=Exact(0.0005),
)


def test_figures_come_back_as_they_were_stored():
    assert from_stored(Result, to_stored(RESULT)) == RESULT


def test_stored_form_is_plain_json_in_the_order_of_the_fields():
    assert to_stored(RESULT) == {
        "lot": "00000000-0000-0000-0000-000000000007",
        "at": "2026-03-04T10:11:12.345Z",
        "on": "2026-03-04",
        "points": [{"infusion": 1, "mean": 4.5, "observed": None}, {"infusion": 2, "mean": 6.25, "observed": 6.0}],
        "probability": {"build_up": 0.875},
        "alpha": 0.0005,
    }
    assert list(to_stored(RESULT)) == ["lot", "at", "on", "points", "probability", "alpha"]


@pytest.mark.parametrize(("value", "stored"), [(0.12349, 0.123), (-0.0001, 0.0), (2.0, 2.0)])
def test_figures_are_rounded_to_three_decimals(value, stored):
    assert str(to_stored(value)) == str(stored)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_figure_that_json_cannot_hold_is_a_fault(value):
    with pytest.raises(ArithmeticError):
        to_stored([value])


def test_value_without_a_form_in_json_is_a_fault():
    with pytest.raises(TypeError):
        to_stored({1, 2})


@pytest.mark.parametrize("stored", [{"infusion": 1}, {"infusion": "one", "mean": 1.0, "observed": None}, None, []])
def test_figures_of_another_form_are_unreadable(stored):
    with pytest.raises(UnreadableFiguresError):
        from_stored(Point, stored)
