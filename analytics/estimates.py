"""One figure with all that makes it honest: counts, limits, method and cautions; it is never ordered by its size."""

from __future__ import annotations

from dataclasses import dataclass

from analytics.statistics.counts import garwood
from analytics.statistics.proportions import wilson
from registry.cautions import Caution, cautioned

WILSON = "Wilson"
GARWOOD = "exact Poisson (Garwood)"
LEVEL = 0.95
FEWEST_FOR_A_PERCENTAGE = 10
FEWEST_EVENTS_FOR_A_RATE_ALONE = 5
MOST_MISSING = 0.05
PER = 1_000

Limits = tuple[float | None, float | None]
_FEW = frozenset({"few_to_compare", "few_events"})


@dataclass(frozen=True, slots=True)
class Estimate:
    """`count` of `total` with an estimate and its limits; None where there is nothing to divide by.

    The estimate is per `per`: a share of 1, a rate of 1,000. `unit` is what the total counts: attempts, complications,
    cases, uses. `level` is that of the
    limits, between 0 and 1. There is no order among estimates: none says which is the higher.
    """

    count: int
    total: int
    unit: str
    estimate: float | None
    lower: float | None
    upper: float | None
    method: str
    level: float
    per: int
    cautions: tuple[Caution, ...]

    @property
    def few(self) -> bool:
        """Whether it rests on too few to be drawn or printed without its limits."""
        return any(one.code in _FEW for one in self.cautions)

    @property
    def percentage(self) -> float | None:
        """The share as a fraction of 1 where it may be printed as a percentage, else None.

        That is: some of 10 or more. Of none the upper limit is printed, and no "0 %".
        """
        return self.estimate if self.per == 1 and self.count and not self.few else None

    @property
    def with_limits(self) -> tuple[float, float, float] | None:
        """The estimate and its limits, None where there is nothing to divide by."""
        if self.estimate is None or self.lower is None or self.upper is None:
            return None
        return self.estimate, self.lower, self.upper


def share(
    count: int,
    total: int,
    *,
    unit: str,
    limits: Limits | None = None,
    missing: int = 0,
    cases: int | None = None,
    design_effect: float | None = None,
) -> Estimate:
    """`count` of `total` as a share with Wilson's limits; `limits` where a table has them already.

    `missing` are those of unknown result, which are not in `total`; above 5 % of all, the caution says between which
    counts the share would lie. `cases` are those that the total comes from, where several may come from one, and
    `design_effect` by what `limits` were widened for that.
    """
    lower, upper = _limits(wilson(count, total), 1) if limits is None else limits
    estimate = count / total if total else None
    cautions: list[Caution] = []
    if estimate is None or upper is None:
        cautions.append(cautioned("nothing_to_divide", unit=unit))
        estimate = lower = upper = None
    elif total < FEWEST_FOR_A_PERCENTAGE:
        cautions.append(cautioned("few_to_compare", successes=count, trials=total))
    elif not count:
        cautions.append(cautioned("none_resolved", trials=total, unit=unit, upper=100 * upper))
    if missing > MOST_MISSING * (total + missing):
        cautions.append(_bounds(count, total, missing, unit))
    if cases is not None and cases < total:
        cautions += _of_clusters(total, cases, design_effect)
    return Estimate(count, total, unit, estimate, lower, upper, WILSON, LEVEL, 1, tuple(cautions))


def rate(
    events: int,
    exposure: int,
    *,
    unit: str,
    limits: Limits | None = None,
    secondary: int = 0,
) -> Estimate:
    """First `events` per 1,000 of `exposure` with Garwood's limits; `limits`, so scaled, where a table has them.

    There is no rate without an exposure, and none of 0 beside `secondary` events, which would read as if these were
    none.
    """
    lower, upper = _limits(garwood(events, exposure), PER) if limits is None else limits
    cautions: list[Caution] = []
    estimate = events / exposure * PER if exposure else None
    if estimate is not None and secondary and not events:
        cautions.append(cautioned("secondary_only", secondary=secondary))
        estimate = lower = upper = None
    elif estimate is None or upper is None:
        cautions.append(cautioned("no_denominator"))
        estimate = lower = upper = None
    elif not events:
        one = unit if exposure != 1 else unit.removesuffix("s")
        cautions.append(cautioned("none_seen", exposure=exposure, unit=one, upper=upper, per=PER))
    if estimate is not None and events < FEWEST_EVENTS_FOR_A_RATE_ALONE:
        cautions.append(cautioned("few_events", events=events, exposure=exposure))
    return Estimate(events, exposure, unit, estimate, lower, upper, GARWOOD, LEVEL, PER, tuple(cautions))


def many_compared(compared: int, level: float = LEVEL) -> Caution:
    """How many of those compared fall outside limits of `level` by chance alone: at 95 %, 1 in 20."""
    return cautioned("many_compared", compared=compared, expected=compared * (1 - level), level=100 * level)


def _of_clusters(attempts: int, cases: int, design_effect: float | None) -> tuple[Caution, Caution]:
    """Several attempts in a case: how the limits take them, and what no limits can mend."""
    if design_effect is None:
        limits = cautioned("counted_as_if_apart", attempts=attempts, cases=cases)
    else:
        limits = cautioned("clustered", attempts=attempts, cases=cases, design_effect=design_effect)
    return limits, cautioned("informative_cluster_size")


def _bounds(count: int, total: int, missing: int, unit: str) -> Caution:
    """What the count would be had none, or all, of those of unknown result been resolved."""
    return cautioned(
        "missing_above_5_percent",
        missing=missing,
        all=total + missing,
        unit=unit,
        lowest=count,
        highest=count + missing,
    )


def _limits(found: tuple[object, object], per: int) -> Limits:
    lower, upper = (float(one) * per for one in found)  # type: ignore[arg-type]
    return (lower, upper) if lower == lower else (None, None)
