"""First events per 1,000 uses of each device model, with its CSV."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from analytics import asking, charts, chips, cohorts, figures, summaries
from analytics.answers import OF_DEVICES, DeviceRate
from analytics.asking import Asked
from analytics.tables import columns_of
from analytics.views.asked import Sites, csv_of, refused, what_is_asked
from registry.access import Scope
from registry.cautions import caution
from registry.doors import MemberRequest, page


@require_GET
@page("devices")
def devices(request: MemberRequest) -> HttpResponse:
    """First events per 1,000 uses, by model in the order of its class."""
    asked, scope, sites = what_is_asked(request, "devices", asking.OF_DEVICES)
    context: dict[str, Any] = {"asked": asked, "cautions": [*map(caution, OF_DEVICES)]}
    if not asked.problems:
        with cohorts.at_one_moment():
            context |= _of_devices(scope, asked, sites)
    context["chips"] = [
        chips.device_chip(asked, wires=False),
        *chips.site_chip(asked, sites),
        chips.period_chip(asked, whole_months=True),
    ]
    context["narrowed"] = chips.narrowed(context["chips"])
    return render(request, "analytics/devices.html", context)


def _of_devices(scope: Scope, asked: Asked, sites: Sites) -> dict[str, Any]:
    rates = summaries.devices(scope, asked.filters)
    extent = summaries.extent_of_devices(scope, asked.filters)
    uses = summaries.denominators(scope, asked.filters, extent, sorted(asked.sites or sites))
    models = {one.device_model for one in rates.rows if one.device_model}
    groups, axis = figures.device_groups(rates, cohorts.names_of_models(models))
    return {
        "groups": groups,
        "axis": charts.axis(*axis),
        "resting": figures.resting_on(extent, [sites[code] for code in asked.sites or sites]),
        "first": sum(one.events for one in rates.rows),
        "secondary": sum(one.secondary_events for one in rates.rows),
        "left_out": figures.left_out_in_words(rates.left_out),
        "to_mend": [(sites.get(one.site, one.site), one) for one in rates.to_mend],
        "uses": uses,
        "missing": figures.missing_in_words(uses, sites),
        "method": rates.method,
    }


@require_GET
@page("devices_csv")
def devices_csv(request: MemberRequest) -> HttpResponse:
    """The rows of `answers devices` for the filters of the page."""
    asked, scope, _ = what_is_asked(request, "devices_csv", asking.OF_DEVICES)
    if asked.problems:
        return refused(asked)
    return csv_of("devices.csv", summaries.devices(scope, asked.filters), columns_of(DeviceRate))
