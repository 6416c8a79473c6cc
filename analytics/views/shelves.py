"""Tools that were wanted and could not be had: a list to buy by, with the cases behind it and its CSV."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from analytics import asking, figures, snapshots, summaries
from analytics.views.all_filters import chips_of, narrowed
from analytics.views.asked import csv_of, refused, what_is_asked
from registry.cautions import caution
from registry.doors import MemberRequest, page


@require_GET
@page("tools_wanted")
def tools_wanted(request: MemberRequest) -> HttpResponse:
    """Techniques declined because the tool was not on the shelf, or not in a size that fits."""
    asked, scope, sites = what_is_asked(request, "tools_wanted", asking.OF_TECHNIQUES)
    cautions = [caution("observational"), caution("selection_of_reports")]
    context: dict[str, Any] = {"asked": asked, "cautions": cautions}
    if not asked.problems:
        with snapshots.answering(asked.filters) as context["as_of"]:
            found = summaries.shopping_list(scope, asked.filters)
        lines = figures.wanted_lines(found)
        context |= {
            "lines": lines,
            "stand_open": figures.stand_open(lines),
            "resting": figures.said_of_the_list(found),
            "left_out": figures.left_out_in_words(found.left_out),
        }
    context["chips"] = chips_of(asked, sites)
    context["narrowed"] = narrowed(context["chips"])
    return render(request, "analytics/tools_wanted.html", context)


@require_GET
@page("tools_wanted_csv")
def tools_wanted_csv(request: MemberRequest) -> HttpResponse:
    """Each option behind the list, for the filters of the page."""
    asked, scope, _ = what_is_asked(request, "tools_wanted_csv", asking.OF_TECHNIQUES)
    if asked.problems:
        return refused(asked)
    rows = figures.wish_rows(summaries.wishes(scope, asked.filters))
    return csv_of("tools-wanted.csv", figures.WISH_COLUMNS, rows)
