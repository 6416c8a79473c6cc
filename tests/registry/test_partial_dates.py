"""Dates known to the day, the month or the year."""

from __future__ import annotations

import calendar
import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.partial_dates import span

DAY = datetime.date


@pytest.mark.parametrize(
    ("text", "earliest", "latest"),
    [
        ("2026-03-14", DAY(2026, 3, 14), DAY(2026, 3, 14)),
        ("2026-03", DAY(2026, 3, 1), DAY(2026, 3, 31)),
        ("2024-02", DAY(2024, 2, 1), DAY(2024, 2, 29)),
        ("2100-02", DAY(2100, 2, 1), DAY(2100, 2, 28)),
        ("2026", DAY(2026, 1, 1), DAY(2026, 12, 31)),
    ],
)
def test_a_date_is_the_span_of_days_that_it_may_mean(text: str, earliest: DAY, latest: DAY) -> None:
    assert span(text) == (earliest, latest)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("2026-02-29", "no day 29 in 2026-02"),
        ("2026-04-31", "no day 31 in 2026-04"),
        ("2026-04-00", "no day 00"),
        ("2026-13", "no month 13"),
        ("2026-00-01", "no month 00"),
        ("1899", "1900 to 2199"),
        ("2200-01-01", "1900 to 2199"),
        ("26-03-14", "YYYY-MM-DD"),
        ("14.03.2026", "YYYY-MM-DD"),
        ("2026-3-14", "YYYY-MM-DD"),
        ("2026-03-14T10:00", "YYYY-MM-DD"),
        ("2026-03-14\n", "YYYY-MM-DD"),
        ("٢٠٢٦", "YYYY-MM-DD"),
        ("unknown", "YYYY-MM-DD"),
        ("", "YYYY-MM-DD"),
    ],
)
def test_what_is_no_date_is_refused_with_what_is_wrong(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        span(text)


@given(st.dates(DAY(1900, 1, 1), DAY(2199, 12, 31)), st.sampled_from([4, 7, 10]))
def test_a_span_is_written_as_the_date_it_was_read_from(day: DAY, length: int) -> None:
    text = day.isoformat()[:length]
    assert str(span(text)) == text
    assert span(text).earliest <= day <= span(text).latest


@given(st.dates(DAY(1900, 1, 1), DAY(2199, 12, 31)))
def test_a_month_is_known_unless_only_the_year_is(day: DAY) -> None:
    first = day.replace(day=1)
    assert span(day.isoformat()).month == first
    assert span(day.isoformat()[:7]).month == first
    assert span(day.isoformat()[:4]).month is None
    assert span(day.isoformat()[:7]).latest.day == calendar.monthrange(day.year, day.month)[1]
