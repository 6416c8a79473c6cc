"""Signals as an answer: which charts are watched, where they crossed, what was said of it. No Django, no query."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from analytics.answers_months import DeviceEvent, MonthlyRecord
from analytics.watching import Baseline, Watch, chance_of_at_least
from registry.terms import SignalState

BETWEEN = "\t"
"""Between a model's code and a lot in the subject of a signal of one lot: it is in no code and no lot."""


class SignalRule(StrEnum):
    """What kind of chart is watched."""

    MODEL_SUM = "model_sum"
    """The running sum of a model."""
    CLASS_SUM = "class_sum"
    """The running sum of all models of a class."""
    SINGLE_MONTH = "single_month"
    """One month of a model at its exact limit or above it."""
    CLOSE_TOGETHER = "close_together"
    """A few events of a rarely failing model within few uses."""
    LAST_MONTHS = "last_months"
    """The last twelve months against all before, of a model with too few events for a baseline."""
    ONE_LOT = "one_lot"
    """Two first events of one lot. How many of it were opened is not recorded, so it has no false-alarm rate."""


Key = tuple[SignalRule, str]
"""What names a signal: its rule, and its subject, which is a model, a class, or a lot of a model."""


@dataclass(frozen=True, slots=True)
class Crossed:
    """One crossing: the event that brought it about and those `behind` it, this one included, by day.

    `value` reached `limit`: of a sum in its units, else in events. Of single months and of the last months `expected`
    are the events of so many uses; `within` are the uses that held those behind it, of events close together and of the
    last months, and `before` are the events and the uses that the last months are compared with.
    """

    event: DeviceEvent
    behind: tuple[DeviceEvent, ...]
    value: float
    limit: float
    expected: float | None = None
    within: int | None = None
    before: tuple[int, int] | None = None

    @property
    def day(self) -> datetime.date:
        """The last day that the event may mean."""
        return self.event.latest


@dataclass(frozen=True, slots=True)
class Recent:
    """First events in the uses of the last twelve recorded months, as far as the baseline does not hold them.

    `p` compares them with the baseline, or without one with all months before (exact, conditional); `adjusted` for all
    models that are compared (Benjamini-Hochberg).
    """

    events: int
    uses: int
    base_events: int
    base_uses: int
    p: float
    adjusted: float


@dataclass(frozen=True, slots=True)
class Chart:
    """One chart that is watched, as a list has it; `Drawn` has what it is made from.

    `name` is that of the model or the class. `months` are the first and the last one watched, `baseline` what was
    usual: neither is of a lot, nor the latter of a model that has none. It crossed so many `times`; `last` is the event
    of the last crossing, with so many `behind` it, itself included. `false_alarms`: how many chance alone was expected
    to give since it is watched.
    """

    rule: SignalRule
    subject: str
    name: str
    device_class: str
    months: tuple[datetime.date, datetime.date] | None = None
    baseline: Baseline | None = None
    false_alarms: float = 0.0
    times: int = 0
    last: DeviceEvent | None = None
    behind: int = 0
    recent: Recent | None = None

    @property
    def key(self) -> Key:
        """What names its signal."""
        return self.rule, self.subject

    @property
    def model(self) -> str:
        """The code of its model, empty for a class."""
        return "" if self.rule == SignalRule.CLASS_SUM else self.subject.partition(BETWEEN)[0]

    @property
    def lot(self) -> str:
        """The lot, empty but for a signal of one lot."""
        return self.subject.partition(BETWEEN)[2]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A chart with the months it is made from, all its crossings, and the running sum of one that has a baseline."""

    chart: Chart
    record: MonthlyRecord
    crossings: tuple[Crossed, ...]
    watch: Watch | None = None


def drawn(
    rule: SignalRule,
    subject: str,
    device_class: str,
    record: MonthlyRecord,
    crossings: Sequence[Crossed],
    false_alarms: float = 0.0,
    watch: Watch | None = None,
) -> Drawn:
    """A chart with all of it, without its name and what it is compared with; a sum is watched from its own month on."""
    recorded = record.recorded if rule != SignalRule.ONE_LOT else ()
    last = crossings[-1] if crossings else None
    chart = Chart(
        rule,
        subject,
        name="",
        device_class=device_class,
        months=(watch.since if watch else recorded[0].month, recorded[-1].month) if recorded else None,
        baseline=watch.baseline if watch else None,
        false_alarms=false_alarms,
        times=len(crossings),
        last=last.event if last else None,
        behind=len(last.behind) if last else 0,
    )
    return Drawn(chart, record, tuple(crossings), watch)


@dataclass(frozen=True, slots=True)
class Said:
    """One entry of the history: who said what of the crossing on day `crossed`, and the state that it then had."""

    at: datetime.datetime
    by: str
    state: SignalState
    crossed: datetime.date
    words: str


@dataclass(frozen=True, slots=True)
class Signal:
    """A chart that crossed, or once did, with its history in order."""

    chart: Chart
    said: tuple[Said, ...]

    @property
    def state(self) -> SignalState:
        """The last word; new again where the chart crossed after the crossing that it was about."""
        if not self.said or self.day > self.said[-1].crossed:
            return SignalState.NEW
        return self.said[-1].state

    @property
    def day(self) -> datetime.date:
        """The day of the last crossing, or the one last spoken of where there is none any more."""
        return self.chart.last.latest if self.chart.last else self.said[-1].crossed


@dataclass(frozen=True, slots=True)
class Signals:
    """All charts that are watched and the signals among them, the newest first.

    `unwatched` are models with uses that have no baseline, neither of their own nor of their class. `withdrawn` are
    signals that somebody answered and that do not cross any more, since the record was changed.
    """

    charts: tuple[Chart, ...]
    signals: tuple[Signal, ...]
    withdrawn: tuple[Signal, ...]
    unwatched: int

    @property
    def watched(self) -> tuple[Chart, ...]:
        """The charts with a limit that chance crosses at a known rate: all but those of lots."""
        return tuple(one for one in self.charts if one.rule != SignalRule.ONE_LOT)

    @property
    def expected(self) -> float:
        """False alarms expected of all of them though nothing had changed anywhere."""
        return sum(one.false_alarms for one in self.watched)

    @property
    def came(self) -> int:
        """How many crossings came."""
        return sum(one.times for one in self.watched)

    @property
    def chance(self) -> float:
        """The Poisson chance of so many crossings or more by chance alone, were the charts independent."""
        return chance_of_at_least(self.came, self.expected)

    @property
    def period(self) -> tuple[datetime.date, datetime.date] | None:
        """The first and the last month watched by any chart."""
        months = [one.months for one in self.watched if one.months]
        return (min(first for first, _ in months), max(last for _, last in months)) if months else None

    def number_of(self, rule: SignalRule) -> int:
        """How many charts of a kind are watched."""
        return sum(one.rule == rule for one in self.charts)


def newest_first(signals: Sequence[Signal]) -> tuple[Signal, ...]:
    """By the day of the last crossing; those of one day by rule and subject."""
    ordered = sorted(signals, key=lambda one: one.chart.key)
    return tuple(sorted(ordered, key=lambda one: one.day, reverse=True))
