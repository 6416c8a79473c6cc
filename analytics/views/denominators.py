"""How complete the uses and returns are that rates are made of, and where what is missing or wrong is mended."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from analytics import asking, chips, cohorts, figures, summaries
from analytics.answers import Denominators, SiteMonthInError, SiteMonths
from analytics.asking import Asked
from analytics.views.asked import Sites, csv_of, refused, what_is_asked
from registry.access import Scope, sites_for
from registry.doors import MemberRequest, page


@require_GET
@page("denominators")
def denominators(request: MemberRequest) -> HttpResponse:
    """Site-months with uses and with whole returns, those that are owed and missing, and those to mend."""
    asked, scope, sites = what_is_asked(request, "denominators", asking.OF_DENOMINATORS)
    context: dict[str, Any] = {"asked": asked}
    if not asked.problems:
        with cohorts.at_one_moment():
            context |= _of_denominators(request, scope, asked, sites)
    context["chips"] = [*chips.site_chip(asked, sites), chips.period_chip(asked, whole_months=True)]
    context["narrowed"] = chips.narrowed(context["chips"])
    return render(request, "analytics/denominators.html", context)


@require_GET
@page("denominators_csv")
def denominators_csv(request: MemberRequest) -> HttpResponse:
    """Each site-month owed, and those to mend, for the filters of the page."""
    asked, scope, sites = what_is_asked(request, "denominators_csv", asking.OF_DENOMINATORS)
    if asked.problems:
        return refused(asked)
    with cohorts.at_one_moment():
        rows = figures.denominator_rows(*_found(scope, asked, sites))
    return csv_of("denominators.csv", figures.DENOMINATOR_COLUMNS, rows)


def _found(scope: Scope, asked: Asked, sites: Sites) -> tuple[Denominators, tuple[SiteMonthInError, ...]]:
    extent = summaries.extent_of_devices(scope, asked.filters)
    days = (extent.first, extent.last)
    found = summaries.denominators(scope, asked.filters, days, sorted(asked.sites or sites))
    return found, summaries.months_in_error(scope, asked.filters)


def _of_denominators(request: MemberRequest, scope: Scope, asked: Asked, sites: Sites) -> dict[str, Any]:
    found, to_mend = _found(scope, asked, sites)
    gives = set(sites_for(request.user, "device_use").values_list("code", flat=True))
    returns = set(sites_for(request.user, "returns_month").values_list("code", flat=True))

    def of_uses(site: str, month: datetime.date) -> str:
        query = urlencode({"site": site, "month": f"{month:%Y-%m}"})
        return f"{reverse('device_use')}?{query}" if site in gives else ""

    def of_return(site: str, month: datetime.date) -> str:
        return reverse("returns_month", args=[site, f"{month:%Y-%m}"]) if site in returns else ""

    return {
        "uses": found.uses,
        "returns": figures.returns_in_words(found.returns),
        "missing": _missing(found.uses, sites, of_uses),
        "not_whole": _missing(found.returns, sites, of_return),
        "to_mend": [(sites.get(one.site, one.site), one, of_uses(one.site, one.month)) for one in to_mend],
    }


def _missing(
    found: SiteMonths, sites: Sites, where: Callable[[str, datetime.date], str]
) -> list[tuple[str, datetime.date, str]]:
    """A line for each site, with its first missing month and the address at which that is given."""
    first: dict[str, datetime.date] = {}
    for site, month in found.missing:
        first.setdefault(site, month)
    lines = figures.missing_in_words(found, sites)
    return [
        (line, month, where(site, month)) for line, (site, month) in zip(lines, first.items(), strict=True)
    ]
