"""Sites beside each other without a name, and people: operators see themselves, a director those of the site."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from analytics import asking, charts, chips, cohorts, figures, snapshots, summaries
from analytics.answers_sites import FEWEST_OTHERS, OneselfAmongOthers, SiteRecord, Sites
from analytics.asking import Asked
from analytics.charts.figure import Figure
from analytics.views.asked import csv_of, refused, what_is_asked
from registry.access import ALL_ROLES, scope_for, scope_of
from registry.cautions import caution
from registry.doors import MemberRequest, page
from registry.terms import Role

_DIRECTORS, _OPERATORS = frozenset({Role.LAB_DIRECTOR}), frozenset({Role.OPERATOR})
_COLUMNS = (
    *("code", "name", "months", "procedures", "cases", "rate_per_1000", "lower", "upper"),
    *("attempted", "out_after_attempt", "out_lower", "out_upper"),
)


@require_GET
@page("sites")
def sites(request: MemberRequest) -> HttpResponse:
    """One's own sites among the others, and the people of them that one may see."""
    asked, _, _ = what_is_asked(request, "sites", asking.OF_SITES)
    context: dict[str, Any] = {
        "asked": asked,
        "cautions": [caution("selection_of_reports"), caution("case_mix")],
        "fewest_others": FEWEST_OTHERS,
    }
    if not asked.problems:
        with snapshots.answering(asked.filters) as context["as_of"]:
            context |= _of_sites(_sites(request, asked)) | _of_people(request, asked)
    context["chips"] = [chips.device_chip(asked, wires=False), chips.period_chip(asked, whole_months=True)]
    context["narrowed"] = chips.narrowed(context["chips"])
    return render(request, "analytics/sites.html", context)


def _sites(request: MemberRequest, asked: Asked) -> Sites:
    own = scope_of(request.user, ALL_ROLES).sites or frozenset()
    return summaries.sites(scope_for(request.user, "sites"), own, asked.filters)


def _of_sites(answer: Sites) -> dict[str, Any]:
    return {
        "lines": figures.site_lines(answer),
        "others": answer.others,
        "compared": figures.compared_in_words(
            answer.funnel, per=1_000, unit="cases per 1,000 procedures", one="site", many="sites"
        )
        if answer.funnel
        else [],
        "site_funnel": figures.site_funnel(answer),
        "left_out": figures.left_out_in_words(answer.left_out),
        "axis": charts.axis(100.0, 4, " %"),
    }


def _of_people(request: MemberRequest, asked: Asked) -> dict[str, Any]:
    """Names for a director, of the own site alone; for operators their own, and the others only as points."""
    found: dict[str, Any] = {}
    directed = scope_of(request.user, _DIRECTORS)
    if directed.sites:
        names = dict(cohorts.names_of_sites(directed))
        found["directed"] = True
        found["operators"] = figures.operator_lines(summaries.operators(directed, asked.filters), names)
    if scope_of(request.user, _OPERATORS).sites:
        answer = _oneself(request, asked)
        found["oneself"] = answer
        found["own_share"] = figures.share_and_limits(answer.own.out)
        found["operator_funnel"] = figures.operator_funnel(answer)
        if answer.funnel:
            found["operators_compared"] = figures.compared_in_words(
                answer.funnel,
                per=100,
                unit="in 100 out after an attempt",
                one="first operator",
                many="first operators",
            )
    return found


def _oneself(request: MemberRequest, asked: Asked) -> OneselfAmongOthers:
    return summaries.oneself(scope_of(request.user, _OPERATORS), request.user.pk, asked.filters)


def site_funnel(request: MemberRequest, asked: Asked) -> Figure | None:
    """The funnel of sites as somebody may see it."""
    return figures.site_funnel(_sites(request, asked))


def operator_funnel(request: MemberRequest, asked: Asked) -> Figure | None:
    """An operator among the others."""
    return figures.operator_funnel(_oneself(request, asked))


@require_GET
@page("sites_csv")
def sites_csv(request: MemberRequest) -> HttpResponse:
    """The rows of one's own sites; those of the others are in the CSV of the funnel, where they may be shown."""
    asked, _, _ = what_is_asked(request, "sites_csv", asking.OF_SITES)
    if asked.problems:
        return refused(asked)
    with snapshots.answering(asked.filters) as as_of:
        own = _sites(request, asked).own
    return csv_of(f"sites{snapshots.in_file_name(as_of)}.csv", _COLUMNS, map(_row, own))


def _row(one: SiteRecord) -> tuple[str | int | float | None, ...]:
    return (
        *(one.code, one.name, one.months, one.procedures, one.cases, one.rate.estimate, one.lower, one.upper),
        *(one.attempted, one.out_after_attempt, one.out_lower, one.out_upper),
    )
