"""What was tried in a situation and what followed, with its CSV."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from analytics import asking, charts, chips, figures, snapshots, summaries
from analytics.answers import OF_TECHNIQUES, TechniqueRecord
from analytics.answers_techniques import CLUSTERED
from analytics.asking import Asked
from analytics.charts.figure import Figure
from analytics.tables import cells_of, columns_of
from analytics.views.asked import Sites, csv_of, refused, what_is_asked
from registry.access import Scope
from registry.cautions import caution
from registry.doors import MemberRequest, page


@require_GET
@page("techniques")
def techniques(request: MemberRequest) -> HttpResponse:
    """What was tried in a situation and what followed; without a situation, the choice of one."""
    asked, scope, sites = what_is_asked(request, "techniques", asking.OF_TECHNIQUES)
    context: dict[str, Any] = {"asked": asked, "cautions": [*map(caution, OF_TECHNIQUES)]}
    met: tuple[Any, ...] = ()
    with snapshots.answering(asked.filters) as context["as_of"]:
        if not asked.problems:
            met = summaries.situations(scope, asked.filters)
            context |= _of_techniques(scope, asked, sites)
    groups = figures.situations_by_group(met)
    offered = figures.situations_offered(groups, asked.filters.situation)
    context["groups"] = [
        (title, [(label, one.complications, asked.address(situation=one.situation)) for one, label in found])
        for title, found in groups
    ]
    context["chips"] = [
        *([chips.situation_chip(asked, offered, context.get("title", ""))] if asked.of("situation") else []),
        *chips.site_chip(asked, sites),
        chips.period_chip(asked, whole_months=False),
        chips.lesion_chip(asked),
        chips.device_chip(asked, wires=True),
    ]
    context["narrowed"] = chips.narrowed(context["chips"])
    return render(request, "analytics/techniques.html", context)


def _of_techniques(scope: Scope, asked: Asked, sites: Sites) -> dict[str, Any]:
    """What the page shows of the situation asked about, or, without one, what the choice rests on."""
    extent = summaries.extent(scope, asked.filters)
    resting = figures.resting_on(extent, [sites[code] for code in asked.sites or sites])
    if not asked.filters.situation:
        left_out = summaries.left_out_of_techniques(scope, asked.filters)
        return {"resting": resting, "left_out": figures.left_out_in_words(left_out)}
    found = summaries.situation(scope, asked.filters)
    title = figures.label_of_situation(asked.filters.situation)
    return {
        "title": title,
        "resting": resting,
        "left_out": figures.left_out_in_words(found.left_out),
        "totals": figures.totals_in_words(found, extent),
        "lines": figures.technique_lines(found.techniques, found.considered),
        "mixes": figures.mixes(found.techniques, found.by_attempt),
        "options": figures.option_lines(found.considered, found.techniques),
        "order": figures.order_of_attempts(found.order, extent.complications, title),
        "endings": figures.endings_by_attempt(found.curve, title),
        "caution_competing": caution("competing_endings"),
        "left_out_of_endings": figures.left_out_in_words(found.curve.left_out),
        "axis": charts.axis(100.0, 4, " %"),
        "method": CLUSTERED,
        "all_situations": asked.address(situation="") or "?",
        "by_attempt": asked.address(by_attempt="yes"),
        "table_file": figures.ATTEMPTS_BY_TECHNIQUE,
    }


def endings_by_attempt(scope: Scope, asked: Asked, sites: Sites) -> Figure | None:
    """What had become of the complications that began with the situation; of all where none is asked about."""
    return figures.endings_by_attempt(
        summaries.curve(scope, asked.filters), figures.title_of(asked.filters.situation)
    )


def order_of_attempts(scope: Scope, asked: Asked, sites: Sites) -> Figure | None:
    """What was tried after what in the situation, None without one."""
    if not asked.filters.situation:
        return None
    met = summaries.extent(scope, asked.filters).complications
    title = figures.label_of_situation(asked.filters.situation)
    return figures.order_of_attempts(summaries.order(scope, asked.filters), met, title)


def attempts_by_technique(scope: Scope, asked: Asked, sites: Sites) -> Figure | None:
    """The table of the page with all its columns, None without a situation."""
    if not asked.filters.situation:
        return None
    title = figures.label_of_situation(asked.filters.situation)
    return figures.attempts_by_technique(summaries.situation(scope, asked.filters), title)


@require_GET
@page("techniques_csv")
def techniques_csv(request: MemberRequest) -> HttpResponse:
    """The rows of `answers techniques` for the filters of the page; `by_attempt=yes` adds the attempt's number."""
    query = request.GET.copy()
    by_attempt = query.pop("by_attempt", [""]) == ["yes"]
    asked, scope, _ = what_is_asked(request, "techniques_csv", asking.OF_TECHNIQUES, query)
    if asked.problems:
        return refused(asked)
    with snapshots.answering(asked.filters) as as_of:
        answer = summaries.techniques(scope, asked.filters, by_attempt=by_attempt)
    name = f"techniques{snapshots.in_file_name(as_of)}.csv"
    columns = columns_of(TechniqueRecord, by_attempt=by_attempt)
    return csv_of(name, columns, cells_of(answer.rows, columns))
