"""Devices as tools of rescue: attempts in which a model was used and how many resolved, with its CSV."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from analytics import asking, charts, chips, cohorts, figures, snapshots, summaries
from analytics.answers import OF_TECHNIQUES
from analytics.answers_devices import RescueRecord
from analytics.asking import Asked
from analytics.tables import cells_of, columns_of
from analytics.views.asked import Sites, csv_of, refused, what_is_asked
from registry.access import Scope
from registry.cautions import caution
from registry.doors import MemberRequest, page


@require_GET
@page("rescue_tools")
def rescue_tools(request: MemberRequest) -> HttpResponse:
    """What followed attempts in which each device model was used, by situation and aim."""
    asked, scope, sites = what_is_asked(request, "rescue_tools", asking.OF_RESCUE_TOOLS)
    context: dict[str, Any] = {"asked": asked, "cautions": [*map(caution, OF_TECHNIQUES)]}
    if not asked.problems:
        with snapshots.answering(asked.filters) as context["as_of"]:
            context |= _of_rescue_tools(scope, asked, sites)
    context["chips"] = [
        chips.situation_chip(asked, figures.situations_offered([], None), context.get("situation", "")),
        *chips.site_chip(asked, sites),
        chips.period_chip(asked, whole_months=False),
    ]
    context["narrowed"] = chips.narrowed(context["chips"])
    return render(request, "analytics/rescue_tools.html", context)


def _of_rescue_tools(scope: Scope, asked: Asked, sites: Sites) -> dict[str, Any]:
    answer = summaries.rescue_tools(scope, asked.filters)
    by_situation = summaries.rescue_tools(scope, asked.filters, by_situation=True)
    models = cohorts.catalogue_of({one.device_model for one in answer.rows if one.device_model})
    extent = summaries.extent(scope, asked.filters)
    situation = asked.filters.situation
    return {
        "lines": figures.rescue_lines(
            answer.rows, by_situation.rows, {code: one.name for code, one in models.items()}
        ),
        "by_situation": asked.address(by_situation="yes"),
        "situation": figures.label_of_situation(situation) if situation else "",
        "resting": figures.resting_on(extent, [sites[code] for code in asked.sites or sites]),
        "left_out": figures.left_out_in_words(answer.left_out),
        "axis": charts.axis(100.0, 4, " %"),
        "method": answer.method,
    }


@require_GET
@page("rescue_tools_csv")
def rescue_tools_csv(request: MemberRequest) -> HttpResponse:
    """The rows of the page for its filters; `by_situation=yes` has a row for each situation faced."""
    query = request.GET.copy()
    by_situation = query.pop("by_situation", [""]) == ["yes"]
    asked, scope, _ = what_is_asked(request, "rescue_tools_csv", asking.OF_RESCUE_TOOLS, query)
    if asked.problems:
        return refused(asked)
    with snapshots.answering(asked.filters) as as_of:
        answer = summaries.rescue_tools(scope, asked.filters, by_situation=by_situation)
    columns = [name for name in columns_of(RescueRecord) if by_situation or name != "situation_faced"]
    return csv_of(f"rescue-tools{snapshots.in_file_name(as_of)}.csv", columns, cells_of(answer.rows, columns))
