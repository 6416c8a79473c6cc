"""How the numbers are made."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from analytics import estimates, methods
from registry.cautions import caution
from registry.doors import MemberRequest, page


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
