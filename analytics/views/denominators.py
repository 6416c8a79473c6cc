"""How complete the uses are that device rates are made of, and where what is missing or wrong is mended."""

from __future__ import annotations

import datetime
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from analytics import asking, chips, cohorts, figures, summaries
from analytics.asking import Asked
from analytics.views.asked import Sites, what_is_asked
from registry.access import Scope, sites_for
from registry.doors import MemberRequest, page


@require_GET
@page("denominators")
def denominators(request: MemberRequest) -> HttpResponse:
    """Site-months with uses, those that are owed and missing, and those with fewer uses than events."""
    asked, scope, sites = what_is_asked(request, "denominators", asking.OF_DENOMINATORS)
    context: dict[str, Any] = {"asked": asked}
    if not asked.problems:
        with cohorts.at_one_moment():
            context |= _of_denominators(request, scope, asked, sites)
    context["chips"] = [*chips.site_chip(asked, sites), chips.period_chip(asked, whole_months=True)]
    context["narrowed"] = chips.narrowed(context["chips"])
    return render(request, "analytics/denominators.html", context)


def _of_denominators(request: MemberRequest, scope: Scope, asked: Asked, sites: Sites) -> dict[str, Any]:
    extent = summaries.extent_of_devices(scope, asked.filters)
    uses = summaries.denominators(scope, asked.filters, extent, sorted(asked.sites or sites))
    mended = set(sites_for(request.user, "device_use").values_list("code", flat=True))

    def where(site: str, month: datetime.date) -> str:
        query = urlencode({"site": site, "month": f"{month:%Y-%m}"})
        return f"{reverse('device_use')}?{query}" if site in mended else ""

    first: dict[str, datetime.date] = {}
    for site, month in uses.missing:
        first.setdefault(site, month)
    return {
        "uses": uses,
        "missing": [
            (line, month, where(site, month))
            for line, (site, month) in zip(figures.missing_in_words(uses, sites), first.items(), strict=True)
        ],
        "to_mend": [
            (sites.get(one.site, one.site), one, where(one.site, one.month))
            for one in summaries.months_in_error(scope, asked.filters)
        ],
    }
