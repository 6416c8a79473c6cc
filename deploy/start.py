"""The start page: what this registry is, what it holds, and what can be done with it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from deploy.demo_marks import demo_loaded
from registry.cautions import caution
from registry.models import Case, Site
from registry.recording.writing import COUNTED_STATES


@require_GET
def start(request: HttpRequest) -> HttpResponse:
    """Counts of sites and cases only: nothing of any patient is shown to somebody who is not signed in."""
    return render(
        request,
        "start.html",
        {
            "sites": Site.objects.count(),
            "cases": Case.objects.filter(state__in=COUNTED_STATES).count(),
            "demo": caution("demo_invented") if demo_loaded() else "",
            "caution": caution("trained_teams"),
        },
    )
