"""Home: what needs somebody today, gathered from the apps."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from registry.access import may_enter
from registry.doors import MemberRequest, page
from registry.needs import needs_you


@require_GET
@page("home")
def home(request: MemberRequest) -> HttpResponse:
    """What is late, due, begun or missing, for the person who is signed in."""
    today = timezone.localdate()
    context = {
        "today": today,
        "needs": needs_you(request.user, today),
        "may_log": may_enter(request.user, "log_case"),
    }
    return render(request, "home.html", context)
