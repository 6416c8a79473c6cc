"""Answers about tools that were wanted and could not be had. No Django, no query."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from analytics import estimates
from analytics.answers import LeftOut
from analytics.estimates import Estimate
from registry.vocabulary import word_list


@dataclass(frozen=True, slots=True)
class Wish:
    """One option declined because the tool was not there, or not in a size that fits.

    `month` is that of the procedure, None where it is known to the year only. `instead` are the techniques that
    followed to free, retrieve or secure, to leave it or to hand it over, each once in their order; None where it is not
    recorded after which action the option was declined. `cause` is how the complication ended (R10), None where its
    ending is unknown or other. `tried_later` says whether the technique itself followed after all.
    """

    technique: str | None
    reason: str
    faced: str | None
    site: str
    month: datetime.date | None
    case: str
    instead: tuple[str | None, ...] | None
    cause: str | None
    tried_later: bool | None


def device_classes_of(technique: str | None) -> tuple[str, ...]:
    """The classes of devices that a technique takes, by its word list."""
    return tuple(word_list("technique")[technique].properties.get("devices", ())) if technique else ()


HowOften = Mapping[str | None, int]
"""In how many complications, by name or code."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """One technique that was wanted; all but `options` is counted in complications.

    `complications` are those in which it was wanted, `without_size` those of them for want of a size alone, `nothing`
    those in which nothing more followed, `order_unknown` those of which that is not known. `ended` are those whose end
    was seen and has a cause, `out` those of them that came out or free; the limits are Wilson's. `options` is how often
    it was declined, `newest` the latest of these.
    """

    technique: str | None
    newest: tuple[Wish, ...]
    options: int
    complications: int
    without_size: int
    sites: HowOften
    faced: HowOften
    instead: HowOften
    nothing: int
    order_unknown: int
    ended: int
    out: int
    lower: float | None
    upper: float | None

    @property
    def estimate(self) -> Estimate:
        """Complications that came out in those that ended."""
        return estimates.share(self.out, self.ended, unit="complications", limits=(self.lower, self.upper))


@dataclass(frozen=True, slots=True)
class ShoppingList:
    """What was wanted, most often first and then in the order of the word list; and what was left out."""

    rows: tuple[Wanted, ...]
    complications: int
    cases: int
    left_out: tuple[LeftOut, ...]
