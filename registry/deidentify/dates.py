"""Dates as days from the procedure: what leaves in place of any date. No Django."""

from __future__ import annotations

from registry.partial_dates import Span, span
from registry.terms import UNKNOWN


def known_to_the_day(date: Span) -> bool:
    """Whether a partly known date means one day only."""
    return date.earliest == date.latest


def days_from(procedure: Span, date: str) -> int | str:
    """Days from the procedure to a date, negative before it; `unknown` unless both are known to the day.

    >>> days_from(span("2026-03-14"), "2026-09-14")
    184
    """
    other = span(date)
    if not (known_to_the_day(procedure) and known_to_the_day(other)):
        return UNKNOWN
    return (other.earliest - procedure.earliest).days


def year_of(procedure: Span) -> int:
    """The calendar year, which every date of a document is known to."""
    return procedure.earliest.year
