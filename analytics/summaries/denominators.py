"""How complete the uses and the returns are that rates are made of (R12). No query of its own."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Sequence

from django.utils import timezone

from analytics import cohorts
from analytics.answers import Denominators, SiteMonths
from analytics.cohorts import Filters, Table
from analytics.summaries.making import each_month
from registry.access import Scope

SiteMonth = tuple[str, datetime.date]


@cohorts.at_one_moment()
def denominators(
    scope: Scope, filters: Filters, seen: Iterable[datetime.date | None], sites: Sequence[str]
) -> Denominators:
    """How complete uses and returns of the sites, by their codes, are, from the month in which each site began.

    An open period reaches from the first to the last month of anything recorded; `seen` are the days of what else is.
    No month is owed before it has ended.
    """
    uses, returns = (
        _site_months(rows(scope, filters))
        for rows in (cohorts.months_with_uses, cohorts.months_reported_whole)
    )
    days = [*filter(None, seen), *(month for _, month in (*uses, *returns))]
    owed = _owed(filters, days, sites)
    return Denominators(_of(owed, uses), _of(owed, returns))


@cohorts.at_one_moment()
def whole_returns(
    scope: Scope, filters: Filters, seen: Iterable[datetime.date | None], sites: Sequence[str]
) -> SiteMonths:
    """The same of returns alone."""
    returns = _site_months(cohorts.months_reported_whole(scope, filters))
    days = [*filter(None, seen), *(month for _, month in returns)]
    return _of(_owed(filters, days, sites), returns)


def _site_months(rows: Table) -> set[SiteMonth]:
    return {(row["site"], row["month"]) for row in rows}


def _owed(filters: Filters, days: Collection[datetime.date], sites: Sequence[str]) -> list[SiteMonth]:
    first = filters.since.earliest if filters.since else min(days, default=None)
    last = filters.until.latest if filters.until else max(days, default=None)
    if first is None or last is None:
        return []
    ended = timezone.localdate().replace(day=1) - datetime.timedelta(days=1)
    begun = cohorts.months_of_beginning(sites)
    return [
        (site, month)
        for site in sites
        for month in each_month(first, min(last, ended))
        if site in begun and month >= begun[site]
    ]


def _of(owed: Iterable[SiteMonth], given: Collection[SiteMonth]) -> SiteMonths:
    listed = list(owed)
    return SiteMonths(
        tuple(one for one in listed if one in given), tuple(one for one in listed if one not in given)
    )
