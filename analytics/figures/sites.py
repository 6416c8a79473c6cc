"""Sites, and an operator among others, as funnels with their tables, and as lines of a page. No query."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analytics import charts
from analytics.answers_sites import (
    Funnel,
    OneselfAmongOthers,
    OperatorRecord,
    Point,
    SiteRecord,
    Sites,
)
from analytics.charts.figure import Cell, Figure
from analytics.charts.funnel import SIZE, funnel
from analytics.estimates import (
    FEWEST_EVENTS_FOR_A_RATE_ALONE,
    FEWEST_FOR_A_PERCENTAGE,
    Estimate,
    many_compared,
)
from analytics.figures.words import percent_in_words, rate_in_words
from registry.drawings.phrases import counted

SITE_FUNNEL = "site-funnel"
OPERATOR_FUNNEL = "operator-funnel"
_QUARTERS = 4


@dataclass(frozen=True, slots=True)
class GroupLine:
    """A site or an operator by itself, in words; `picture` is the interval of what came out after an attempt."""

    name: str
    also: str
    record: SiteRecord | OperatorRecord
    rate: str
    beside: str
    out: str
    picture: str


def site_lines(answer: Sites) -> list[GroupLine]:
    """One's own sites, in the order given."""
    points = {point.name: point for point in answer.funnel.points} if answer.funnel else {}
    return [
        GroupLine(
            name=one.name,
            also=_returns(one),
            record=one,
            rate="" if one.to_mend else _rate(one.rate),
            beside=_to_mend(one) if one.to_mend else _beside(points.get(one.name)),
            out=share_and_limits(one.out),
            picture=_interval(one.out),
        )
        for one in answer.own
    ]


def operator_lines(records: Sequence[OperatorRecord], sites: Mapping[str, str]) -> list[GroupLine]:
    """First operators in the order of site and code; the site is said where there are several."""
    return [
        GroupLine(
            name=one.code,
            also=", ".join(part for part in (one.name, sites[one.site] if len(sites) > 1 else "") if part),
            record=one,
            rate="",
            beside="",
            out=share_and_limits(one.out),
            picture=_interval(one.out),
        )
        for one in records
    ]


def share_and_limits(one: Estimate) -> str:
    """`7 of 12, 58% (32% to 81%)`; of fewer than 10 the counts alone."""
    if not one.total:
        return "none was attempted"
    said = f"{one.count:,} of {one.total:,}"
    if one.few or one.with_limits is None:
        return said
    share, lower, upper = map(percent_in_words, one.with_limits)
    return f"{said}, up to {upper}" if not one.count else f"{said}, {share} ({lower} to {upper})"


def _interval(one: Estimate) -> str:
    return charts.interval(*drawn, 1.0, _QUARTERS, few=one.few) if (drawn := one.with_limits) else ""


def _rate(one: Estimate) -> str:
    if one.with_limits is None:
        return ""
    rate, lower, upper = map(rate_in_words, one.with_limits)
    return f"{rate} ({lower} to {upper})" if one.count else f"none seen (up to {upper})"


def _returns(one: SiteRecord) -> str:
    if not one.months or one.last is None:
        return "no return says that everything is reported"
    return f"{counted(one.months, 'month', 'months')} reported whole, the last {one.last:%B %Y}"


def _to_mend(one: SiteRecord) -> str:
    return (
        f"To mend: {one.procedures:,} procedures are recorded and {one.cases:,} cases, so one of the two is wrong; "
        "left out of the comparison."
    )


def _beside(point: Point | None) -> str:
    if point is None:
        return "not compared"
    where = "within the limits"
    if point.beyond:
        where = f"{'above' if point.above else 'below'} the {100 * point.beyond:g} % limits, to review"
    return f"{where}; adjusted p {_p(point.p_adjusted)}"


def _p(value: float) -> str:
    """
    >>> _p(0.00002), _p(0.0312), _p(1.0)
    ('under 0.0001', '0.031', '1')
    """
    return "under 0.0001" if value < 0.0001 else f"{value:.2g}"


def compared_in_words(found: Funnel, *, per: int, unit: str, one: str, many: str) -> list[str]:
    """How many are compared with what, how many fall outside by chance alone and how many do, and the spread."""
    levels = [limits.level for limits in found.exact]
    outside = {level: sum((point.beyond or 0) >= level for point in found.points) for level in levels}
    number = len(found.points)
    return [
        f"{counted(number, one, many)} compared with what they have together: "
        f"{rate_in_words(found.target * per)} {unit}.",
        *(
            f"{many_compared(number, level)} {outside[level] or 'None'} "
            f"{'does' if outside[level] < 2 else 'do'}."
            for level in levels
        ),
        _spread(found),
    ]


def _spread(found: Funnel) -> str:
    said = f"Spread beyond chance (phi): {found.phi:.2f}, p {_p(found.p_of_spread)}"
    if found.widened:
        return (
            f"{said}. It is above 1, so the limits allow for it, even where it may be chance: who lies outside, "
            "and the p-values, go by the widened ones."
        )
    return f"{said}; not above 1, so the limits are those of chance alone."


def site_funnel(answer: Sites) -> Figure | None:
    """Cases with a complication per procedure of each site, None where there is nothing to compare."""
    if answer.funnel is None:
        return None
    return _figure(
        answer.funnel,
        name=SITE_FUNNEL,
        title="Cases with a device complication per 1,000 procedures, by site",
        content=funnel(
            answer.funnel,
            per=1_000,
            fewest=FEWEST_EVENTS_FOR_A_RATE_ALONE,
            across="Procedures in months that are reported whole",
            up="Cases with a complication per 1,000 procedures",
            together=f"all together {rate_in_words(1_000 * answer.funnel.target)}",
        ),
        per=1_000,
        columns=("site", "cases", "procedures", "per 1,000"),
        unnamed="another site",
    )


def operator_funnel(answer: OneselfAmongOthers) -> Figure | None:
    """The share out after an attempt of an operator and of the unnamed others, None where it is not to be shown."""
    if answer.funnel is None:
        return None
    return _figure(
        answer.funnel,
        name=OPERATOR_FUNNEL,
        title="Complications out after an attempt, you and the other first operators of your sites",
        content=funnel(
            answer.funnel,
            per=100,
            fewest=FEWEST_FOR_A_PERCENTAGE,
            across="Complications in which an attempt was made",
            up="Out after an attempt, in 100",
            together=f"all together {percent_in_words(answer.funnel.target)}",
        ),
        per=100,
        columns=("operator", "out after an attempt", "attempted", "in 100"),
        unnamed="another operator",
    )


def _figure(
    found: Funnel,
    *,
    name: str,
    title: str,
    content: tuple[str, ...],
    per: int,
    columns: tuple[str, ...],
    unnamed: str,
) -> Figure:
    levels = [f"{100 * limits.level:g} %" for limits in found.exact]
    outside = sum(point.beyond is not None for point in found.points)
    return Figure(
        name=name,
        title=title,
        description=(
            f"{len(found.points):,} compared about {rate_in_words(per * found.target)} per {per:,}; "
            f"{outside or 'none'} outside the {levels[0]} limits."
        ),
        size=SIZE,
        content=content,
        columns=(
            *columns,
            *(f"{level} limits: {end}" for level in levels for end in ("lower", "upper")),
            "adjusted p",
        ),
        rows=tuple(_row(point, per, unnamed) for point in found.points),
        method="funnel_limits",
    )


def _row(point: Point, per: int, unnamed: str) -> tuple[Cell, ...]:
    limits = [per * limit for pair in point.within for limit in pair]
    share = per * point.events / point.size
    return (point.name or unnamed, point.events, point.size, share, *limits, point.p_adjusted)
