"""Months of devices as an answer: uses, events, what was left out, what is to mend. No Django, no query."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from analytics.answers import LeftOut, Reason, SiteMonthInError


@dataclass(frozen=True, slots=True)
class DeviceEvent:
    """One event of a device: its case and site by their codes, the days of the procedure, and what is known of it.

    `month` is None where only the year is known. `left_out` says why a first event is in no rate; None where it is in
    one, and of secondary events, which are in none by rule (R12).
    """

    case: str
    site: str
    device_model: str | None
    month: datetime.date | None
    earliest: datetime.date
    latest: datetime.date
    secondary: bool
    situation: str
    ending: str
    lot: str | None
    left_out: Reason | None


@dataclass(frozen=True, slots=True)
class Month:
    """One month: units opened, the first `events` in them by day, those left out, and the secondary ones.

    `uses` is None where no site recorded a number that holds: that month is silent, not a zero. `records` is how many
    numbers of a model at a site the uses are the sum of.
    """

    month: datetime.date
    uses: int | None
    records: int
    events: tuple[DeviceEvent, ...]
    left_out: tuple[DeviceEvent, ...]
    secondary: tuple[DeviceEvent, ...]


@dataclass(frozen=True, slots=True)
class MonthlyRecord:
    """Months in a row, from the first to the last of anything recorded; `undated` are events known to the year only."""

    months: tuple[Month, ...]
    undated: tuple[DeviceEvent, ...]
    left_out: tuple[LeftOut, ...]
    to_mend: tuple[SiteMonthInError, ...]

    @property
    def events(self) -> tuple[DeviceEvent, ...]:
        """The first events that enter a rate, by day."""
        return tuple(event for month in self.months for event in month.events)

    @property
    def recorded(self) -> tuple[Month, ...]:
        """The months with a number of uses."""
        return tuple(month for month in self.months if month.uses is not None)

    @property
    def uses(self) -> int:
        """All uses recorded."""
        return sum(month.uses or 0 for month in self.months)

    @property
    def secondary(self) -> int:
        """How many secondary events there are, which are in no rate."""
        return sum(len(month.secondary) for month in self.months) + sum(one.secondary for one in self.undated)


@dataclass(frozen=True, slots=True)
class ProcedureMonth:
    """One month of procedures: those of site-months reported whole (None without any), and the cases in them."""

    month: datetime.date
    procedures: int | None
    cases: int
    left_out: int
