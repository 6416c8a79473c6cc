"""Days in place of dates."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.deidentify.dates import days_from, year_of
from registry.partial_dates import span

pytestmark = pytest.mark.pure

days = st.dates(datetime.date(1900, 1, 1), datetime.date(2199, 12, 31))


@given(days, days)
def test_two_known_days_are_told_by_their_distance_alone(
    procedure: datetime.date, other: datetime.date
) -> None:
    assert days_from(span(procedure.isoformat()), other.isoformat()) == (other - procedure).days


@given(days, days, st.integers(-300, 300))
def test_moving_both_dates_changes_nothing(procedure: datetime.date, other: datetime.date, by: int) -> None:
    moved = [date.toordinal() + by for date in (procedure, other)]
    first, last = datetime.date(1900, 1, 1).toordinal(), datetime.date(2199, 12, 31).toordinal()
    if all(first <= day <= last for day in moved):
        start, end = (datetime.date.fromordinal(day).isoformat() for day in moved)
        assert days_from(span(start), end) == days_from(span(procedure.isoformat()), other.isoformat())


@pytest.mark.parametrize(
    ("procedure", "other"), [("2024-03", "2024-03-14"), ("2024-03-14", "2024-03"), ("2024", "2025")]
)
def test_a_date_that_is_not_known_to_the_day_leaves_the_distance_unknown(procedure: str, other: str) -> None:
    assert days_from(span(procedure), other) == "unknown"


@pytest.mark.parametrize("date", ["2024-03-14", "2024-03", "2024"])
def test_the_year_is_known_of_every_date(date: str) -> None:
    assert year_of(span(date)) == 2024
