"""Dates known to the day, the month or the year, as the span of days they may mean. No Django."""

from __future__ import annotations

import calendar
import datetime
import re
from functools import lru_cache
from typing import NamedTuple

_PARTIAL = re.compile(r"(\d{4})(?:-(\d{2})(?:-(\d{2}))?)?", re.ASCII)
FIRST_YEAR, LAST_YEAR = 1900, 2199


class Span(NamedTuple):
    """The earliest and the latest day that a partly known date may mean, both included."""

    earliest: datetime.date
    latest: datetime.date

    @property
    def month(self) -> datetime.date | None:
        """The first day of the month, or None where the date is known to the year only."""
        first = self.earliest.replace(day=1)
        return first if first == self.latest.replace(day=1) else None

    def __str__(self) -> str:
        if self.earliest == self.latest:
            return self.earliest.isoformat()
        return self.earliest.isoformat()[: 7 if self.month else 4]


@lru_cache(maxsize=1 << 15)
def span(text: str) -> Span:
    """`2026-03-14`, `2026-03` or `2026` as a span; ValueError for anything else and for days that do not exist.

    >>> span("2024-02").latest
    datetime.date(2024, 2, 29)
    """
    found = _PARTIAL.fullmatch(text)
    if not found:
        raise ValueError("not a date of the form YYYY-MM-DD, YYYY-MM or YYYY")
    year, month, day = (int(part) if part else None for part in found.groups())
    assert year is not None
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise ValueError(f"not a year from {FIRST_YEAR} to {LAST_YEAR}")
    if month is None:
        return Span(datetime.date(year, 1, 1), datetime.date(year, 12, 31))
    if not 1 <= month <= 12:
        raise ValueError(f"there is no month {month:02d}")
    length = calendar.monthrange(year, month)[1]
    if day is None:
        return Span(datetime.date(year, month, 1), datetime.date(year, month, length))
    if not 1 <= day <= length:
        raise ValueError(f"there is no day {day:02d} in {year}-{month:02d}")
    return Span(datetime.date(year, month, day), datetime.date(year, month, day))
