"""Where complications lay on the map and beyond it, and what lay there before them, with their CSV."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from analytics import asking, figures, snapshots, summaries
from analytics.asking import Asked
from analytics.charts.figure import Figure
from analytics.views.all_filters import chips_of, narrowed
from analytics.views.asked import Sites, csv_of, refused, what_is_asked
from registry.access import Scope
from registry.cautions import caution
from registry.doors import MemberRequest, page


@require_GET
@page("places")
def places(request: MemberRequest) -> HttpResponse:
    """The map, the places beyond it, and the tables of what lay in the lesion."""
    asked, scope, sites = what_is_asked(request, "places", asking.OF_TECHNIQUES)
    cautions = [caution("places_without_denominator"), caution("selection_of_reports")]
    context: dict[str, Any] = {"asked": asked, "cautions": cautions}
    if not asked.problems:
        with snapshots.answering(asked.filters) as context["as_of"]:
            found = summaries.places(scope, asked.filters)
            contexts = summaries.lesion_contexts(scope, asked.filters)
        context |= {
            "found": found,
            "left_out": figures.left_out_in_words(found.left_out),
            "map": figures.map_of_places(found),
            "beyond": figures.place_lines(found),
            "tables": figures.cross_tables(contexts) if found.complications else [],
            "no_lesion": contexts.contents.no_lesion,
        }
    context["chips"] = chips_of(asked, sites)
    context["narrowed"] = narrowed(context["chips"])
    return render(request, "analytics/places.html", context)


def map_of_places(scope: Scope, asked: Asked, sites: Sites) -> Figure | None:
    """The map for the filters of the page."""
    return figures.map_of_places(summaries.places(scope, asked.filters))


@require_GET
@page("places_csv")
def places_csv(request: MemberRequest) -> HttpResponse:
    """The cells of the tables of lesions; the CSV of the map is its figure's."""
    asked, scope, _ = what_is_asked(request, "places_csv", asking.OF_TECHNIQUES)
    if asked.problems:
        return refused(asked)
    with snapshots.answering(asked.filters) as as_of:
        rows = figures.context_rows(summaries.lesion_contexts(scope, asked.filters))
    name = f"lesions{snapshots.in_file_name(as_of)}.csv"
    return csv_of(name, ("table", "situation", "of_the_lesion", "complications"), rows)
