"""What the page of one situation reads: techniques by attempt, as if tried alike, considered, and in their order."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from analytics import estimates
from analytics.answers import Curve, LeftOut, TechniqueRecord
from analytics.estimates import Estimate, Limits

CLUSTERED = (
    f"Wilson, adjusted for attempts in the same case (Saha, Miller & Wang), {100 * estimates.LEVEL:g} %"
)
STRATA = ("first", "second", "third or later")
"""The numbers of attempts that are held alike: beyond the second there are too few to keep apart."""

WENT_ON = "went_on"
"""The ending of an order whose complication was next tried in another situation."""


@dataclass(frozen=True, slots=True)
class Adjusted:
    """Limits of resolved in attempts, allowing for several attempts in one case, and the exact ones as if apart.

    `clusters` are the cases, a later procedure's being the one where it began. The design effect is None where there
    is nothing to tell it from: no attempt, or one case alone with several.
    """

    clusters: int
    lower: float | None
    upper: float | None
    design_effect: float | None
    exact: Limits


@dataclass(frozen=True, slots=True)
class Standardised:
    """A share at the mix of attempts of all techniques with its aim; `missing` are the strata never tried."""

    share: float | None
    lower: float | None
    upper: float | None
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Minutes:
    """The median of the minutes of attempts; `known` have any, `missing` have none recorded."""

    median: float | None
    known: int
    missing: int


@dataclass(frozen=True, slots=True)
class Try:
    """The attempts by one technique and aim that were the `number`-th in the situation; `unknown` have no result."""

    number: int
    attempts: int
    resolved: int
    unknown: int


def in_strata(tries: Iterable[Try]) -> list[tuple[int, int]]:
    """Resolved and attempts of each of STRATA."""
    found = [(0, 0)] * len(STRATA)
    for one in tries:
        which = min(one.number, len(STRATA)) - 1
        resolved, attempts = found[which]
        found[which] = resolved + one.resolved, attempts + one.attempts
    return found


@dataclass(frozen=True, slots=True)
class TechniqueInSituation:
    """One technique with one aim in the situation, together and by attempt."""

    record: TechniqueRecord
    tries: tuple[Try, ...]
    adjusted: Adjusted
    standardised: Standardised
    minutes: Minutes

    @property
    def tried_first(self) -> int:
        """In how many of its attempts it was the first in the situation."""
        return sum(one.attempts for one in self.tries if one.number == 1)

    @property
    def estimate(self) -> Estimate:
        """Resolved in attempts with the adjusted limits, and what must be said of it."""
        return estimates.share(
            self.record.resolved,
            self.record.attempts,
            unit="attempts",
            limits=(self.adjusted.lower, self.adjusted.upper),
            missing=self.record.unknown,
            cases=self.adjusted.clusters,
            design_effect=self.adjusted.design_effect,
        )


@dataclass(frozen=True, slots=True)
class AttemptOfAim:
    """All attempts with one aim that were the `number`-th in the situation, and how many of them resolved it."""

    aim: str
    number: int
    attempts: int
    resolved: int
    lower: float | None
    upper: float | None

    @property
    def estimate(self) -> Estimate:
        """Resolved in those made: of complications, as each makes its n-th attempt once."""
        limits = (self.lower, self.upper)
        return estimates.share(self.resolved, self.attempts, unit="attempts", limits=limits)


@dataclass(frozen=True, slots=True)
class Considered:
    """Complications in which one technique was tried or declined; `reasons` are codes with complications."""

    technique: str | None
    considered: int
    tried: int
    declined: int
    tried_later: int
    reasons: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Step:
    """From an attempt in the situation to the next, or to how the complication ended, and in how many.

    `then` is the next technique, empty where none is recorded; where there was no next attempt it is None and `ending`
    says what became of it: a cause, WENT_ON, or None where the ending is unknown or other.
    """

    number: int
    technique: str | None
    then: str | None
    ending: str | None
    complications: int


@dataclass(frozen=True, slots=True)
class SituationFigures:
    """All that the page of one situation shows.

    `began` are the complications that began with it, whose acts are known: those of the figures of endings.
    """

    techniques: tuple[TechniqueInSituation, ...]
    by_attempt: tuple[AttemptOfAim, ...]
    considered: tuple[Considered, ...]
    order: tuple[Step, ...]
    curve: Curve
    began: int
    left_out: tuple[LeftOut, ...]
