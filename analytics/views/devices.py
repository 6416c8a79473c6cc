"""First events per 1,000 uses by model, class or maker, each with its CSV, and all of them as one picture."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from analytics import asking, charts, chips, cohorts, figures, snapshots, summaries
from analytics.answers import OF_DEVICES, Answer, DeviceRate
from analytics.answers_devices import DevicePage, GroupRate
from analytics.asking import Asked
from analytics.charts.figure import Figure
from analytics.tables import cells_of, columns_of
from analytics.views.asked import Sites, csv_of, refused, what_is_asked
from registry.access import Scope, scope_for
from registry.cautions import caution
from registry.doors import MemberRequest, page

SHOWN_LOTS = 5


@require_GET
@page("devices")
def devices(request: MemberRequest) -> HttpResponse:
    """First events per 1,000 uses, in the order of classes and names; `by` says of what each row is."""
    asked, scope, sites = what_is_asked(request, "devices", asking.OF_DEVICE_RATES)
    context: dict[str, Any] = {"asked": asked, "cautions": [*map(caution, OF_DEVICES)], "by": _by(asked)}
    if not asked.problems:
        with snapshots.answering(asked.filters) as context["as_of"]:
            lots = summaries.lots_in_brief(scope_for(request.user, "lots"))
            context |= _of_devices(scope, asked, sites, Counter(one.device_model for one in lots))
            context |= {"lots": lots[:SHOWN_LOTS], "more_lots": len(lots) - SHOWN_LOTS}
    context["chips"] = [
        chips.grouping_chip(asked),
        chips.device_chip(asked, wires=False),
        *chips.site_chip(asked, sites),
        chips.period_chip(asked, whole_months=True),
    ]
    context["narrowed"] = chips.narrowed(context["chips"])
    return render(request, "analytics/devices.html", context)


def _by(asked: Asked) -> str:
    return asked.of("by") or "model"


def _of_devices(scope: Scope, asked: Asked, sites: Sites, lots: Mapping[str, int]) -> dict[str, Any]:
    rates, found = summaries.device_page(scope, asked.filters)
    table = _table(_by(asked), rates, found, lots)
    extent = summaries.extent_of_devices(scope, asked.filters)
    codes = sorted(asked.sites or sites)
    returns = summaries.whole_returns(scope, asked.filters, (extent.first, extent.last), codes)
    resting = (figures.resting_on(extent, [sites[code] for code in codes]), figures.returns_in_words(returns))
    return {
        "table": table,
        "groups": table.groups,
        "length": table.length,
        "axis": charts.axis(*table.axis),
        "figure": None if table.is_long else _figure(asked, table, found),
        "figure_name": figures.DEVICE_RATES,
        "drawn": figures.drawn_in_words(found.drawn) if _by(asked) == "model" else "",
        "resting": ". ".join(filter(None, resting)),
        "first": sum(one.events for one in rates.rows),
        "secondary": sum(one.secondary_events for one in rates.rows),
        "left_out": figures.left_out_in_words(rates.left_out),
        "to_mend": [(sites.get(one.site, one.site), one) for one in rates.to_mend],
        "completeness": f"{reverse('denominators')}{asked.address(by='', device_class='')}",
        "method": rates.method,
    }


def _figure(asked: Asked, table: figures.DeviceTable, found: DevicePage) -> Figure | None:
    return figures.device_rates(table, found.drawn if _by(asked) == "model" else None)


def _table(
    by: str, rates: Answer[DeviceRate], found: DevicePage, lots: Mapping[str, int]
) -> figures.DeviceTable:
    models = _models(rates)
    if by == "model":
        names = {code: one.name for code, one in models.items()}
        return figures.models_table(rates.rows, names, found.kinds, found.drawn, lots)
    rows = _groups(by, rates, models)
    return figures.classes_table(rows, found.kinds) if by == "class" else figures.makers_table(rows)


def _models(rates: Answer[DeviceRate]) -> dict[str, cohorts.ModelNamed]:
    return cohorts.catalogue_of({one.device_model for one in rates.rows if one.device_model})


def _groups(
    by: str, rates: Answer[DeviceRate], models: Mapping[str, cohorts.ModelNamed]
) -> tuple[GroupRate, ...]:
    if by == "class":
        return summaries.by_class(rates.rows)
    return summaries.by_maker(rates.rows, {code: one.maker for code, one in models.items()})


@require_GET
@page("devices_csv")
def devices_csv(request: MemberRequest) -> HttpResponse:
    """The rows of `answers devices` for the filters of the page, or the same by class or by maker."""
    asked, scope, _ = what_is_asked(request, "devices_csv", asking.OF_DEVICE_RATES)
    if asked.problems:
        return refused(asked)
    by = _by(asked)
    with snapshots.answering(asked.filters) as as_of:
        rates = summaries.devices(scope, asked.filters)
        groups = () if by == "model" else _groups(by, rates, _models(rates))
    moment = snapshots.in_file_name(as_of)
    if by == "model":
        columns = columns_of(DeviceRate)
        return csv_of(f"devices{moment}.csv", columns, cells_of(rates.rows, columns))
    columns = columns_of(GroupRate)
    heading = ["device_class" if by == "class" else by, *columns[1:]]
    return csv_of(f"devices-by-{by}{moment}.csv", heading, cells_of(groups, columns))


def device_rates(scope: Scope, asked: Asked, sites: Sites) -> Figure | None:
    """All rates of the page as one picture."""
    rates, found = summaries.device_page(scope, asked.filters)
    return _figure(asked, _table(_by(asked), rates, found, {}), found)
