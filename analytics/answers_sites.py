"""Answers about sites and about the people of one: funnels, and how each stands by itself. No Django, no query."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from analytics import estimates
from analytics.answers import LeftOut
from analytics.estimates import Estimate

FEWEST_OTHERS = 5
"""Others are shown, unnamed, only where they are at least so many: of fewer, the numbers of one could be told."""


@dataclass(frozen=True, slots=True)
class Point:
    """One group of a funnel; `name` is empty where it is not to be named.

    `within` are the limits at its size, a pair for each level, widened where the funnel's are; `p_adjusted` is adjusted
    for how many were compared; `beyond` is the widest of the levels whose limits it lies outside of, None within all;
    `above` says on which side of the target.
    """

    name: str
    events: int
    size: int
    within: tuple[tuple[float, float], ...]
    p_adjusted: float
    beyond: float | None
    above: bool


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of one level by size of group, as long as the sizes of their funnel."""

    level: float
    lower: tuple[float, ...]
    upper: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Funnel:
    """Shares of groups about their common share.

    `exact` limits are those of chance alone, `widened` those that allow for the spread there is beyond it, empty where
    `phi` is not above 1; the points are then judged by the widened ones. `p_of_spread` is that of phi.
    """

    target: float
    points: tuple[Point, ...]
    sizes: tuple[int, ...]
    exact: tuple[Limits, ...]
    widened: tuple[Limits, ...]
    phi: float
    p_of_spread: float


@dataclass(frozen=True, slots=True)
class SiteRecord:
    """A site by itself: cases with a complication of procedures, in `months` whose return says all is reported.

    `last` is the last of these months. The limits of the rate per 1,000 are Garwood's, those of `out_after_attempt`
    in `attempted` Wilson's.
    """

    code: str
    name: str
    months: int
    last: datetime.date | None
    procedures: int
    cases: int
    lower: float | None
    upper: float | None
    attempted: int
    out_after_attempt: int
    out_lower: float | None
    out_upper: float | None

    @property
    def to_mend(self) -> bool:
        """Whether fewer procedures than cases are recorded, so that one of the two is wrong."""
        return self.cases > self.procedures > 0

    @property
    def rate(self) -> Estimate:
        """Cases with a complication per 1,000 procedures."""
        return estimates.rate(self.cases, self.procedures, unit="procedures", limits=(self.lower, self.upper))

    @property
    def out(self) -> Estimate:
        """Complications out after an attempt."""
        limits = (self.out_lower, self.out_upper)
        return estimates.share(self.out_after_attempt, self.attempted, unit="complications", limits=limits)


@dataclass(frozen=True, slots=True)
class Others:
    """The sites that are not named: how many can be compared, gave no return, and have nobody left.

    `shown` says whether those that can be compared are; only then are `out_after_attempt` and `attempted` theirs.
    """

    compared: int
    silent: int
    withdrawn: int
    shown: bool
    attempted: int
    out_after_attempt: int


@dataclass(frozen=True, slots=True)
class Sites:
    """One's own sites by name, the others without, and all that are compared in a funnel, where there is one.

    `left_out` is of the sites that are shown.
    """

    own: tuple[SiteRecord, ...]
    others: Others | None
    funnel: Funnel | None
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, slots=True)
class OperatorRecord:
    """The complications of cases of which somebody is the first operator, by the site's own staff code."""

    site: str
    code: str
    name: str
    cases: int
    complications: int
    attempted: int
    out_after_attempt: int
    lower: float | None
    upper: float | None

    @property
    def out(self) -> Estimate:
        """Complications out after an attempt; clusters are not taken apart, few cases hold more than one."""
        return estimates.share(
            self.out_after_attempt,
            self.attempted,
            unit="complications",
            limits=(self.lower, self.upper),
        )


@dataclass(frozen=True, slots=True)
class OneselfAmongOthers:
    """An operator's own figures, under all staff codes of theirs, and how many others there are.

    The funnel is None where the others are fewer than five, or there is nothing to compare.
    """

    own: OperatorRecord
    others: int
    funnel: Funnel | None
