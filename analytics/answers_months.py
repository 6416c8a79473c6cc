"""Months of devices as an answer: uses, events, what was left out, what is to mend. No Django, no query."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from enum import StrEnum
from itertools import chain
from typing import NamedTuple

from analytics.answers import LeftOut, Reason, SiteMonthInError
from analytics.estimates import Estimate
from analytics.watching import Baseline, Watch
from registry.partial_dates import Span


class DeviceEvent(NamedTuple):
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


def event_among_many(day: Span, *, left_out: Reason | None = None, secondary: bool = False) -> DeviceEvent:
    """One event of many models together, of which no more is told than its day and whether it is in a rate."""
    return DeviceEvent("", "", None, day.month, *day, secondary, "", "", None, left_out)


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
        return tuple(chain.from_iterable(month.events for month in self.months))

    @property
    def recorded(self) -> tuple[Month, ...]:
        """The months with a number of uses."""
        return tuple(month for month in self.months if month.uses is not None)

    @property
    def uses(self) -> int:
        """All uses recorded."""
        return sum(month.uses or 0 for month in self.months)

    @property
    def cases(self) -> int:
        """Cases behind all events, those left out and secondary ones too; of one model."""
        events = [one for month in self.months for one in (*month.events, *month.left_out, *month.secondary)]
        return len({one.case for one in (*events, *self.undated)})

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


class Rule(StrEnum):
    """How months are read against limits, by how many events are expected in one at the baseline."""

    RATES = "rates"
    """A chart of rates (u chart): 5 or more a month."""
    SINGLE_MONTH = "single_month"
    """The exact limit of a single month: fewer than 5 a month and at least 1 a year."""
    USES_BETWEEN = "uses_between"
    """A chart of uses between events (g chart): fewer than 1 a year."""
    NO_BASELINE = "no_baseline"
    """No limit, since nothing says what is usual."""


@dataclass(frozen=True, slots=True)
class MonthLimit:
    """What one month may hold by chance, in events: a count at `upper` or more, or at `lower` or fewer, is beyond."""

    expected: float
    upper: int
    lower: int | None
    beyond: bool


@dataclass(frozen=True, slots=True)
class Gaps:
    """Uses between one first event and the next, of the chart of such gaps; `upper` is the longest that chance leaves.

    `since` is how many uses there were after the last event.
    """

    uses: tuple[int, ...]
    centre: float | None
    upper: float | None
    since: int


@dataclass(frozen=True, slots=True)
class ByMonth:
    """Which chart the months are read in, with its limits; `limits` stand beside the months, None without uses.

    `expected` are the events in a month of average uses at the baseline, `false_alarm` the chance that one month with
    limits is beyond the upper one though nothing has changed, on average.
    """

    rule: Rule
    expected: float | None
    limits: tuple[MonthLimit | None, ...]
    false_alarm: float | None
    gaps: Gaps | None


@dataclass(frozen=True, slots=True)
class OverTime:
    """A device over time: `asked` are the months of the period, `whole` all up to its end, which the sum runs over."""

    whole: MonthlyRecord
    asked: MonthlyRecord
    baseline: Baseline | None
    of_class: bool
    by_month: ByMonth
    watch: Watch | None
    half_years: tuple[tuple[datetime.date, datetime.date, Estimate], ...]


@dataclass(frozen=True, slots=True)
class ProceduresOverTime:
    """Cases in procedures by month, with limits about the mean of the months themselves; see `ByMonth`.

    `undated` are cases known to the year only.
    """

    months: tuple[ProcedureMonth, ...]
    undated: int
    rule: Rule
    limits: tuple[MonthLimit | None, ...]
    false_alarm: float | None
    rate: Estimate

    @property
    def cases(self) -> int:
        """Cases in the months reported whole."""
        return sum(one.cases for one in self.months)

    @property
    def cases_in_all(self) -> int:
        """Those of other months too."""
        return sum(one.cases + one.left_out for one in self.months) + self.undated

    @property
    def procedures(self) -> int:
        """Procedures of the months reported whole."""
        return sum(one.procedures or 0 for one in self.months)


@dataclass(frozen=True, slots=True)
class Mark:
    """What somebody wrote on the charts of a site from a day on; `model` is empty where it is about all."""

    code: str
    letter: str
    day: datetime.date
    site: str
    site_name: str
    model: str
    words: str
    by: str
    at: datetime.datetime
