"""The start page: what this registry is, what it holds, and what can be done with it."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from registry.models import Case, Site


@require_GET
def start(request: HttpRequest) -> HttpResponse:
    """Counts of sites and cases only: nothing of any patient is shown to somebody who is not signed in."""
    return render(
        request,
        "start.html",
        {
            "sites": Site.objects.count(),
            "cases": Case.objects.filter(state__in=["submitted", "locked"]).count(),
            "demo": (settings.VAR_DIR / "demo.json").exists(),
        },
    )
