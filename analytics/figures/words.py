"""Numbers as they are printed, and what figures rest on and leave out, in words. No query."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from analytics.answers import WORDS, Extent, LeftOut, SiteMonths
from registry.drawings.phrases import counted, joined, named, raised


@dataclass(frozen=True, slots=True)
class Number:
    """A figure as it is printed, and as it is."""

    text: str
    exact: float

    def __str__(self) -> str:
        return self.text


def percent_in_words(share: float) -> Number:
    """A whole percentage; 0 and 100 are kept for none and all."""
    rounded = f"{share * 100:.0f}"
    if rounded == "0" and share > 0:
        return Number("under 1%", share)
    if rounded == "100" and share < 1:
        return Number("over 99%", share)
    return Number(f"{rounded}%", share)


def rate_in_words(rate: float) -> Number:
    """A rate as `printed_rate` has it."""
    return Number(printed_rate(rate), rate)


def interval_in_words(rate: float, lower: float, upper: float) -> str:
    """
    >>> interval_in_words(1.87, 0.4, 3.2)
    '1.9 (0.40 to 3.2)'
    """
    return f"{printed_rate(rate)} ({printed_rate(lower)} to {printed_rate(upper)})"


def printed_rate(rate: float) -> str:
    """Two decimals below 1, else one; what would round to 0.00 keeps its first digit."""
    if rate == 0:
        return "0"
    if rate < 0.005:
        return f"{Decimal(f'{rate:.1g}'):f}"
    return f"{rate:.2f}" if round(rate, 2) < 1 else f"{rate:,.1f}"


def ordinal(number: int) -> str:
    """
    >>> [ordinal(n) for n in (1, 2, 3, 4, 11, 22)]
    ['1st', '2nd', '3rd', '4th', '11th', '22nd']
    """
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def technique_in_words(technique: str | None) -> str:
    """The technique as it begins a line."""
    return raised(named("technique", technique, "technique"))


def left_out_in_words(left_out: Iterable[LeftOut]) -> str:
    """One sentence, empty where nothing was left out."""
    whole = [
        f"{counted(one.count, one.of.removesuffix('s'), one.of)} ({WORDS[one.reason]})" for one in left_out
    ]
    return f"Left out: {joined(whole)}." if whole else ""


def period_in_words(extent: Extent) -> str:
    """From which month to which the procedures were, empty where there are none."""
    if extent.first is None or extent.last is None:
        return ""
    first, last = f"{extent.first:%B %Y}", f"{extent.last:%B %Y}"
    return first if first == last else f"{first} to {last}"


def returns_in_words(found: SiteMonths) -> str:
    """How complete the returns are, as a sentence without its stop; empty where none is owed."""
    if not found.owed:
        return ""
    return (
        "Returns say that all is reported, or that none happened, in "
        f"{len(found.given):,} of {counted(found.owed, 'site-month', 'site-months')}"
    )


def missing_in_words(found: SiteMonths, names: Mapping[str, str]) -> list[str]:
    """The site-months that are missing, a line for each site, runs of months as one."""
    by_site: dict[str, list[datetime.date]] = {}
    for site, month in found.missing:
        by_site.setdefault(site, []).append(month)
    return [f"{names.get(site, site)}: {_runs(months)}" for site, months in by_site.items()]


def _runs(months: Sequence[datetime.date]) -> str:
    runs: list[list[datetime.date]] = []
    for month in months:
        if runs and (month - runs[-1][-1]).days <= 31:
            runs[-1].append(month)
        else:
            runs.append([month])
    return joined([f"{run[0]:%B %Y}" + (f" to {run[-1]:%B %Y}" if len(run) > 1 else "") for run in runs])


def resting_on(extent: Extent, sites: Sequence[str]) -> str:
    """How much the figures rest on, as a sentence without its stop; `sites` are the names of those asked about."""
    there = counted(extent.complications, "complication", "complications")
    return ", ".join(
        part
        for part in (
            f"{there} in {counted(extent.cases, 'case', 'cases')}" if extent.cases else "No complication",
            sites[0] if len(sites) == 1 else counted(extent.sites, "site", "sites"),
            _operators(extent),
            period_in_words(extent),
        )
        if part
    )


def _operators(extent: Extent) -> str:
    if extent.cases and not extent.operators:
        return "no operator named"
    return counted(extent.operators, "operator", "operators") if extent.operators else ""


def day_in_words(day: datetime.date) -> str:
    """
    >>> day_in_words(datetime.date(2026, 2, 11))
    '11 February 2026'
    """
    return f"{day.day} {day:%B %Y}"


def run_in_words(uses: float) -> str:
    """So many uses, to three significant digits.

    >>> run_in_words(26587.4)
    '26,600 uses'
    """
    if math.isinf(uses):
        return "no end of uses"
    return f"{float(f'{uses:.3g}'):,.0f} {'use' if uses == 1 else 'uses'}"


def years_in_words(years: float) -> str:
    """
    >>> [years_in_words(number) for number in (25.3, 3.86, 1.1, 0.04, math.inf)]
    ['25 years', '3.9 years', '13 months', '1 month', 'no end of years']
    """
    if math.isinf(years):
        return "no end of years"
    if years < 2:
        return counted(max(round(12 * years), 1), "month", "months")
    return f"{years:.0f} years" if years >= 10 else f"{years:.1f} years"
