"""Pages of what the record says, each with its CSV: door, filters, answers, page. Imports no model."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from analytics import asking, charts, chips, cohorts, estimates, figures, methods, summaries
from analytics.answers import OF_DEVICES, OF_TECHNIQUES, Answer, DeviceRate, TechniqueRecord
from analytics.asking import Asked
from analytics.tables import columns_of, write_csv
from registry.access import Scope, scope_for, sites_for
from registry.cautions import caution
from registry.doors import MemberRequest, page

Sites = dict[str, str]


@require_GET
@page("techniques")
def techniques(request: MemberRequest) -> HttpResponse:
    """What was tried in a situation and what followed; without a situation, the choice of one."""
    asked, scope, sites = _asked(request, "techniques", asking.OF_TECHNIQUES)
    context: dict[str, Any] = {"asked": asked, "cautions": [*map(caution, OF_TECHNIQUES)]}
    met: tuple[Any, ...] = ()
    with cohorts.at_one_moment():
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
    tried = summaries.tried(scope, asked.filters)
    return {
        "title": figures.label_of_situation(asked.filters.situation),
        "resting": resting,
        "left_out": figures.left_out_in_words(tried.attempts.left_out),
        "lines": figures.technique_lines(*tried),
        "never": figures.never_attempted(tried.attempts, tried.declined),
        "axis": charts.axis(100.0, 4, " %"),
        "method": tried.attempts.method,
        "all_situations": asked.address(situation="") or "?",
        "by_attempt": asked.address(by_attempt="yes"),
    }


@require_GET
@page("devices")
def devices(request: MemberRequest) -> HttpResponse:
    """First events per 1,000 uses, by model in the order of its class."""
    asked, scope, sites = _asked(request, "devices", asking.OF_DEVICES)
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
@page("techniques_csv")
def techniques_csv(request: MemberRequest) -> HttpResponse:
    """The rows of `answers techniques` for the filters of the page; `by_attempt=yes` adds the attempt's number."""
    query = request.GET.copy()
    by_attempt = query.pop("by_attempt", [""]) == ["yes"]
    asked, scope, _ = _asked(request, "techniques_csv", asking.OF_TECHNIQUES, query)
    if asked.problems:
        return _refused(asked)
    answer = summaries.techniques(scope, asked.filters, by_attempt=by_attempt)
    return _csv("techniques.csv", answer, columns_of(TechniqueRecord, by_attempt=by_attempt))


@require_GET
@page("devices_csv")
def devices_csv(request: MemberRequest) -> HttpResponse:
    """The rows of `answers devices` for the filters of the page."""
    asked, scope, _ = _asked(request, "devices_csv", asking.OF_DEVICES)
    if asked.problems:
        return _refused(asked)
    return _csv("devices.csv", summaries.devices(scope, asked.filters), columns_of(DeviceRate))


@require_GET
@page("how_numbers_are_made")
def how_numbers_are_made(request: MemberRequest) -> HttpResponse:
    """What is counted and how, and each method with its source."""
    context = {
        "groups": methods.groups(),
        "fewest": estimates.FEWEST_FOR_A_PERCENTAGE,
        "fewest_events": estimates.FEWEST_EVENTS_FOR_A_RATE_ALONE,
        "caution_observational": caution("observational"),
    }
    return render(request, "analytics/numbers.html", context)


def _asked(
    request: MemberRequest, route: str, allowed: Sequence[str], query: Any = None
) -> tuple[Asked, Scope, Sites]:
    """What the address asks, the sites it asks about, and the names of all that it may."""
    names = dict(sites_for(request.user, route).order_by("name").values_list("code", "name"))
    asked = asking.ask(dict((request.GET if query is None else query).lists()), allowed, names)
    scope = scope_for(request.user, route)
    return asked, scope if asked.problems else scope.narrowed(asked.sites), names


def _csv(name: str, answer: Answer[Any], columns: list[str]) -> HttpResponse:
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    write_csv(answer, columns, response)
    return response


def _refused(asked: Asked) -> HttpResponse:
    """Figures for filters that were not understood would be taken for those that were meant."""
    message = "".join(f"{problem}\n" for problem in asked.problems)
    return HttpResponse(message, status=400, content_type="text/plain; charset=utf-8")
