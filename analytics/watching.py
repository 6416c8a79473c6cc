"""Cumulative sums of first events use by use, from months of uses and days of events; a signal asks for a review.

Pure over numbers: it knows no model, no case and no site, and says nothing of causes.
"""

from __future__ import annotations

import calendar
import datetime
import itertools
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from scipy import special

from analytics.statistics.control import CusumDesign, average_run_length, cusum_design, expected_crossings
from analytics.statistics.control.charts import TAIL
from analytics.statistics.control.cusum import TOUCHING, least_reaching, log_likelihood_ratios
from analytics.statistics.counts import garwood

ODDS_RATIO = 3.0
YEARS_WITHOUT_CHANGE = 25
FEWEST_EXPECTED = 10
BASELINE_MONTHS = 24
SHORT_BASELINE_MONTHS = 12
FEWEST_BASELINE_EVENTS = 5
HIGHEST_BASELINE = 0.5
SIGNIFICANT = 3

SAME_DAY = (
    "the uses of a month are spread evenly over its days and an event is the last use of its day; several of one day "
    "are spread evenly over its uses, and those whose day is not known over their month"
)


class MonthOfUse(NamedTuple):
    """One month with recorded uses (0 is recorded): its first day, the uses, and the days of its first events."""

    month: datetime.date
    uses: int
    events: tuple[datetime.date, ...]


class Point(NamedTuple):
    """The sum after use number `use` of those watched.

    `at` is the place in time in months from the first watched month, 1.5 in the middle of the second. `event` is the
    number of the event that is the use, among all events given, from 0; None at the ends of months, zeros and resets.
    """

    at: float
    use: int
    value: float
    event: int | None = None


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where the sum reached its threshold: the use that is the event, the sum before it went back to 0.

    `events` are the numbers of those since the sum last stood at 0, this one included.
    """

    index: int
    value: float
    at: float
    events: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Baseline:
    """What was usual: `events` in `uses`, in the months from `first` to `last`, with exact limits per use."""

    events: int
    uses: int
    first: datetime.date
    last: datetime.date
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class Watch:
    """One cumulative sum of uses, from the month `since` on.

    `of_class`: the baseline is that of the class. Run lengths are in uses, from a sum at 0: in control, with the odds
    `odds_ratio` times those of p0, and were the upper limit of the baseline the truth. `uses_a_year` is the pace of the
    last twelve recorded months.
    """

    baseline: Baseline
    of_class: bool
    since: datetime.date
    design: CusumDesign
    run_at_upper: float
    uses_a_year: float
    uses: int
    path: tuple[Point, ...]
    crossings: tuple[Crossing, ...]

    @property
    def p0(self) -> float:
        """The chance of an event a use, of the baseline."""
        return self.design.p0

    @property
    def odds_ratio(self) -> float:
        """How many times the odds of p0 the sum is set to notice."""
        return self.design.odds_ratio

    @property
    def threshold(self) -> float:
        """What the sum must reach."""
        return self.design.threshold

    @property
    def in_control_run(self) -> float:
        """How many uses the sum runs on average until it crosses by chance alone."""
        return self.design.in_control_arl

    @property
    def out_of_control_run(self) -> float:
        """How many uses it runs with odds `odds_ratio` times those of p0."""
        return self.design.out_of_control_arl

    @property
    def false_alarms(self) -> float:
        """The crossings that chance alone was expected to give in all `uses`."""
        return expected_crossings(self.design, self.uses)

    @property
    def last_value(self) -> float:
        """Where the sum stands after the last use."""
        return self.path[-1].value if self.path else 0.0

    def years(self, uses: float) -> float:
        """How long so many uses take at the present pace; infinite where nothing is used now."""
        return uses / self.uses_a_year if self.uses_a_year else math.inf


def baseline_of(months: Sequence[MonthOfUse]) -> Baseline | None:
    """The first 24 months of recorded uses, never all of them: the first 12 where fewer than 36 are recorded.

    None with fewer than 13 months, fewer than 5 first events or events at more than half of the uses. `months` rise.
    """
    whole = len(months) >= BASELINE_MONTHS + SHORT_BASELINE_MONTHS
    taken = months[: BASELINE_MONTHS if whole else SHORT_BASELINE_MONTHS]
    events, uses = sum(len(one.events) for one in taken), sum(one.uses for one in taken)
    if len(months) <= len(taken) or events < FEWEST_BASELINE_EVENTS or events > HIGHEST_BASELINE * uses:
        return None
    lower, upper = (float(limit) for limit in garwood(events, uses))
    return Baseline(events, uses, taken[0].month, taken[-1].month, lower, upper)


def watch(
    months: Sequence[MonthOfUse],
    class_baseline: Baseline | None = None,
    *,
    odds_ratio: float = ODDS_RATIO,
    years: int = YEARS_WITHOUT_CHANGE,
) -> Watch | None:
    """The sum over the months after the baseline; None where there is no baseline or nothing was used after it.

    The baseline is that of `months` themselves or, where they have too few events for one, `class_baseline`. The
    threshold is the smallest with which chance alone crosses once in `years` years at the pace of the months in which
    the baseline is taken, or once in ten expected events where that is longer; so it does not move with later months.
    At a crossing (sum >= threshold) the sum begins again at 0. ValueError where months do not rise or have more events
    than uses, and for an odds ratio that is not above 1.
    """
    if not odds_ratio > 1:
        raise ValueError(f"odds_ratio: must be above 1, not {odds_ratio:g}")
    _require_sound(months)
    own = baseline_of(months)
    baseline = own or class_baseline
    if baseline is None:
        return None
    watched = [one for one in months if one.month > baseline.last]
    if not sum(one.uses for one in watched):
        return None
    first = months[:BASELINE_MONTHS]
    wanted = years * 12 * sum(one.uses for one in first) / len(first)
    p0 = _rounded(baseline.events / baseline.uses)
    design = _design(p0, odds_ratio, _rounded(max(wanted, FEWEST_EXPECTED / p0)))
    before = sum(len(one.events) for one in months if one.month <= baseline.last)
    running = _Sum(design, before)
    for one in watched:
        running.month(_months_between(watched[0].month, one.month), one)
    recent = months[-12:]
    return Watch(
        baseline=baseline,
        of_class=own is None,
        since=watched[0].month,
        design=design,
        run_at_upper=_run_at(min(_rounded(baseline.upper), 1.0), design),
        uses_a_year=12 * sum(one.uses for one in recent) / len(recent),
        uses=sum(one.uses for one in watched),
        path=tuple(running.path),
        crossings=tuple(running.crossings),
    )


def chance_of_at_least(count: int, expected: float) -> float:
    """The Poisson chance of `count` events or more where `expected` are expected."""
    return float(special.pdtrc(count - 1, expected)) if count > 0 else 1.0


def limit_of_a_month(expected: float, tail: float = TAIL) -> int:
    """The smallest number of events beyond chance in one month: so many or more have a chance of at most `tail`.

    Source: the exact Poisson distribution; `tail` is what three standard deviations leave of a normal one.
    """
    count = int(expected)
    while chance_of_at_least(count, expected) > tail:
        count += 1
    return count


def uses_between(months: Sequence[MonthOfUse]) -> tuple[list[int], int]:
    """Uses without an event between each event and the next, and the uses after the last."""
    places: list[int] = []
    before = 0
    for one in months:
        places += [before + use for use in events_at(one.month, one.uses, sorted(one.events))]
        before += one.uses
    gaps = [later - earlier - 1 for earlier, later in itertools.pairwise(places)]
    return gaps, before - (places[-1] if places else 0)


def _require_sound(months: Iterable[MonthOfUse]) -> None:
    before: datetime.date | None = None
    for one in months:
        if before is not None and one.month <= before:
            raise ValueError(f"months: must rise, but {one.month:%Y-%m} follows {before:%Y-%m}")
        if len(one.events) > one.uses:
            raise ValueError(f"months: {one.month:%Y-%m} has {len(one.events)} events in {one.uses} uses")
        before = one.month


def _rounded(value: float) -> float:
    """To three significant digits, so that thresholds are found once for many models."""
    return float(f"{value:.{SIGNIFICANT}g}")


@lru_cache(maxsize=4096)
def _design(p0: float, odds_ratio: float, run: float) -> CusumDesign:
    return cusum_design(p0, odds_ratio, run)


@lru_cache(maxsize=4096)
def _run_at(p: float, design: CusumDesign) -> float:
    return average_run_length(p, design.p0, design.odds_ratio, design.threshold)


def _months_between(first: datetime.date, month: datetime.date) -> float:
    return float(12 * (month.year - first.year) + month.month - first.month)


def events_at(month: datetime.date, uses: int, days: Sequence[datetime.date]) -> list[int]:
    """Which use of its month each event is, from 1; rising, in the order of `days`, which must not fall.

    Several of one day share its uses evenly: did they follow each other, a day of many would lift any sum.
    """
    length = calendar.monthrange(month.year, month.month)[1]
    of_day, so_far = Counter(days), Counter[datetime.date]()
    at: list[int] = []
    for number, day in enumerate(days):
        so_far[day] += 1
        before, until = uses * (day.day - 1) // length, uses * day.day // length
        wanted = before + math.ceil((until - before) * so_far[day] / of_day[day])
        at.append(min(max(wanted, at[-1] + 1 if at else 1), uses - (len(days) - 1 - number)))
    return at


def spread_over_month(month: datetime.date, number: int) -> list[datetime.date]:
    """Days for so many events of a month whose own are not known, evenly apart; the middle of the month for one."""
    length = calendar.monthrange(month.year, month.month)[1]
    return [month.replace(day=1 + (2 * which + 1) * length // (2 * number)) for which in range(number)]


class _Sum:
    """One sum as it runs: where it stands, where it turned, and what brought it there."""

    def __init__(self, design: CusumDesign, number: int) -> None:
        self.down = -float(log_likelihood_ratios(0.0, 1.0, design.p0, design.odds_ratio))
        self.up = float(log_likelihood_ratios(1.0, 1.0, design.p0, design.odds_ratio))
        self.reached = least_reaching(design.threshold)
        self.number = number
        self.value, self.use = 0.0, 0
        self.path: list[Point] = []
        self.crossings: list[Crossing] = []
        self.since: tuple[int, ...] = ()

    def month(self, start: float, one: MonthOfUse) -> None:
        """All uses of a month that begins at `start`."""
        self.path.append(Point(start, self.use, self.value))
        before = self.use
        for use in events_at(one.month, one.uses, sorted(one.events)):
            self._without(before + use - 1, start, before, one.uses)
            self._event(start + use / one.uses)
        self._without(before + one.uses, start, before, one.uses)

    def _without(self, until: int, start: float, before: int, uses: int) -> None:
        """Uses without an event, up to use `until`."""
        if until == self.use:
            return
        lasts = math.ceil(self.value / self.down - TOUCHING)
        if 0 < lasts < until - self.use:
            self.path.append(Point(start + (self.use + lasts - before) / uses, self.use + lasts, 0.0))
        if lasts <= until - self.use:
            self.since = ()
        self.value = max(self.value - (until - self.use) * self.down, 0.0)
        self.use = until
        self.path.append(Point(start + (until - before) / uses, until, self.value))

    def _event(self, at: float) -> None:
        self.value += self.up
        self.use += 1
        self.since = (*self.since, self.number)
        self.path.append(Point(at, self.use, self.value, self.number))
        self.number += 1
        if self.value >= self.reached:
            self.crossings.append(Crossing(self.use, self.value, at, self.since))
            self.value, self.since = 0.0, ()
            self.path.append(Point(at, self.use, self.value))
