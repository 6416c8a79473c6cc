"""What pages, charts, slides and commands read: counts with their limits and what was left out. No Django, no query."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

from analytics import estimates
from analytics.estimates import Estimate
from analytics.statistics.sequences import CumulativeIncidence

WILSON = f"{estimates.WILSON}, {100 * estimates.LEVEL:g} %"
GARWOOD = f"{estimates.GARWOOD}, {100 * estimates.LEVEL:g} %"
AALEN_JOHANSEN = "cumulative incidence (Aalen-Johansen)"


OF_TECHNIQUES = ("observational", "not_compared", "unadjusted_for_order", "aims_apart")
OF_DEVICES = ("models_not_compared", "selection_of_reports")
"""Cautions beside every table of techniques, and of devices."""


class Reason(StrEnum):
    """Why something was left out, in the order in which it is asked: each is counted once, for the first that fits."""

    DATE_PARTLY_KNOWN = "date_partly_known"
    SHORT_RECORD = "short_record"
    ACTIONS_NOT_ALL_KNOWN = "actions_not_all_known"
    ACTIONS_NOT_RECORDED = "actions_not_recorded"
    ENDING_WITHOUT_CAUSE = "ending_without_cause"
    ACT_WITH_ANOTHER = "act_with_another"
    RESULT_UNKNOWN = "result_unknown"
    NO_MODEL = "no_model"
    NO_MONTH = "no_month"
    NO_DENOMINATOR = "no_denominator"
    SITE_MONTH_IN_ERROR = "site_month_in_error"
    NO_RETURN = "no_return"


WORDS: Mapping[Reason, str] = {
    Reason.DATE_PARTLY_KNOWN: "the date is only partly known and may lie outside the period",
    Reason.SHORT_RECORD: "short record, its actions are not abstracted",
    Reason.ACTIONS_NOT_ALL_KNOWN: "not all of the actions, or not their order, are known",
    Reason.ACTIONS_NOT_RECORDED: "the actions are not recorded",
    Reason.ENDING_WITHOUT_CAUSE: "the ending is unknown or other",
    Reason.ACT_WITH_ANOTHER: "it came out with another device, whose complication has the act",
    Reason.RESULT_UNKNOWN: "the result is unknown",
    Reason.NO_MODEL: "no device model",
    Reason.NO_MONTH: "no month, the date is known to the year only",
    Reason.NO_DENOMINATOR: "no denominator, the uses of that site and month are not recorded",
    Reason.SITE_MONTH_IN_ERROR: "fewer uses than events in that site and month, an error to mend",
    Reason.NO_RETURN: "no return of that site and month says that everything is reported",
}


@dataclass(frozen=True, slots=True)
class LeftOut:
    """How many of a thing (`complications`, `attempts`, `events`, `cases`) an answer leaves out, and why."""

    reason: Reason
    count: int
    of: str

    def __str__(self) -> str:
        what = self.of if self.count != 1 else self.of.removesuffix("s")
        return f"{self.count} {what} left out: {WORDS[self.reason]}"


@dataclass(frozen=True, slots=True)
class SiteMonthInError:
    """A site and month with fewer recorded uses of a model than events: an error to mend."""

    device_model: str
    site: str
    month: datetime.date
    uses: int
    events: int

    def __str__(self) -> str:
        return (
            f"to mend: {self.site} {self.month:%Y-%m}, {self.device_model}: "
            f"uses recorded {self.uses}, events {self.events}"
        )


class OfAttempts:
    """A row that counts how many attempts resolved the situation, with Wilson's limits."""

    __slots__ = ()
    attempts: int
    resolved: int
    unknown: int
    cases: int
    lower: float | None
    upper: float | None

    @property
    def estimate(self) -> Estimate:
        """Resolved in attempts, with what must be said of it."""
        return estimates.share(
            self.resolved,
            self.attempts,
            unit="attempts",
            limits=(self.lower, self.upper),
            missing=self.unknown,
            cases=self.cases,
        )


class PerUses:
    """A row that counts first events and units opened, with Garwood's limits."""

    __slots__ = ()
    events: int
    secondary_events: int
    uses: int
    lower: float | None
    upper: float | None

    @property
    def estimate(self) -> Estimate:
        """First events per 1,000 units opened, with what must be said of it."""
        return estimates.rate(
            self.events,
            self.uses,
            unit="uses",
            limits=(self.lower, self.upper),
            secondary=self.secondary_events,
        )


@dataclass(frozen=True, slots=True)
class TechniqueRecord(OfAttempts):
    """Attempts with one technique in one situation with one aim; those of unknown result stand in `unknown` alone.

    `attempt_in_situation` is None where all attempts are together. The limits are Wilson's of resolved in attempts.
    """

    technique: str | None
    situation_faced: str | None
    aim: str
    attempt_in_situation: int | None
    attempts: int
    resolved: int
    partly: int
    unchanged: int
    worse: int
    not_delivered: int
    stopped_for_safety: int
    unknown: int
    resolved_with_injury: int
    resolved_with_new_complication: int
    complications: int
    complications_resolved: int
    cases: int
    lower: float | None
    upper: float | None


@dataclass(frozen=True, slots=True)
class DeviceRate(PerUses):
    """Events of one model, or of one class where the model is not known, per 1,000 units opened.

    The rate is None without uses, and where there are secondary events only.
    """

    device_model: str | None
    device_class: str
    events: int
    secondary_events: int
    uses: int
    events_left_out: int
    rate_per_1000: float | None
    lower: float | None
    upper: float | None


@dataclass(frozen=True, slots=True)
class EndingRecord:
    """How complications that began with one situation ended.

    `complications` have all their acts known; `left_out` are those whose acts are not, or whose ending has no cause.
    `attempted` are those with a counted attempt and an end that was seen; the limits are Wilson's of
    `out_after_attempt` in them.
    """

    situation: str
    complications: int
    out: int
    secured: int
    left: int
    place_unknown: int
    surgery: int
    died: int
    transferred_open: int
    left_out: int
    attempted: int
    out_after_attempt: int
    lower: float | None
    upper: float | None


@dataclass(frozen=True, slots=True)
class ConsideredRecord:
    """Complications in which one technique was tried or declined for one situation, or injury."""

    technique: str | None
    situation_faced: str | None
    considered: int
    tried: int
    declined: int
    tried_later: int


LEFT_APART = ("lost_place_unknown", "accepted_as_is")
"""Endings that are shown apart within those that were left (R10)."""


@dataclass(frozen=True, slots=True)
class Curve:
    """What had become of the complications by the n-th attempt, and what has no place in it.

    `ended[cause]`: how many left it so at each of the attempts of `incidence`, whichever causes occurred; `censored`
    are those that were not seen to their end. `left_apart[ending]`: the same of each ending of `LEFT_APART`.
    """

    incidence: CumulativeIncidence
    ended: Mapping[str, tuple[int, ...]]
    left_apart: Mapping[str, tuple[int, ...]]
    left_out: tuple[LeftOut, ...]
    method: str = AALEN_JOHANSEN
    cautions: tuple[str, ...] = ("observational", "competing_endings")


@dataclass(frozen=True, slots=True)
class ProcedureRate:
    """Cases with a device complication per 1,000 procedures; the rate is None without procedures."""

    cases: int
    procedures: int
    rate_per_1000: float | None
    lower: float | None
    upper: float | None
    left_out: tuple[LeftOut, ...]
    method: str = GARWOOD


@dataclass(frozen=True, slots=True)
class SituationRecord:
    """How many complications met a situation: began with it, or in which something was done about it."""

    situation: str
    complications: int


@dataclass(frozen=True, slots=True)
class Extent:
    """What figures rest on; operators are the first ones that are named. The days are None where there is nothing."""

    complications: int
    cases: int
    sites: int
    operators: int
    first: datetime.date | None
    last: datetime.date | None


@dataclass(frozen=True, slots=True)
class SiteMonths:
    """The site-months that are owed in a period, by site code: those that are in, and those that are missing."""

    given: tuple[tuple[str, datetime.date], ...]
    missing: tuple[tuple[str, datetime.date], ...]

    @property
    def owed(self) -> int:
        """How many are owed."""
        return len(self.given) + len(self.missing)


@dataclass(frozen=True, slots=True)
class Denominators:
    """Site-months with recorded uses, and those whose return says that all is reported or none happened."""

    uses: SiteMonths
    returns: SiteMonths


Record = TypeVar("Record")


@dataclass(frozen=True, slots=True)
class Answer(Generic[Record]):
    """The rows of an answer by their keys, with all that must stand beside them.

    `method` names how limits were made, empty where there are none; `cautions` are names of the catalogue.
    """

    rows: tuple[Record, ...]
    left_out: tuple[LeftOut, ...]
    method: str = ""
    cautions: tuple[str, ...] = ()
    to_mend: tuple[SiteMonthInError, ...] = ()
