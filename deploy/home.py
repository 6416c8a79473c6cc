"""Home: what needs somebody today, gathered from the apps."""

from __future__ import annotations

import re

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from analytics import figures, snapshots
from analytics.cohorts import Filters, lots_aside_at
from analytics.models import QuarantinedLot
from analytics.signals import signals
from registry.access import NotFound, may_enter, scope_for, sites_for
from registry.doors import MemberRequest, page
from registry.drawings.phrases import counted, joined
from registry.needs import DUE, Need, NeedGroup, all_due, needs_you
from registry.terms import SignalState

_PAGE = re.compile("[1-9][0-9]{0,4}")


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


@require_GET
@page("due")
def due(request: MemberRequest, which: str) -> HttpResponse:
    """All that is late or due soon, of one kind, page by page."""
    if which not in DUE:
        raise NotFound("there is no such list")
    typed = request.GET.get("page", "")
    number = int(typed) if _PAGE.fullmatch(typed) else 1
    found = all_due(request.user, timezone.localdate(), which, number)
    return render(request, "due.html", {"found": found, "number": number})


@require_GET
@page("home_figures")
def home_figures(request: MemberRequest) -> HttpResponse:
    """What figures bring up: lots set aside, new signals. Asked for by home once it stands, since it takes counting."""
    groups = [*_lots_set_aside(request), *_signals(request)]
    whole = "home_figures.html" if not request.headers.get("HX-Request") else "_need_groups.html"
    return render(request, whole, {"groups": groups})


def _lots_set_aside(request: MemberRequest) -> list[NeedGroup]:
    """One line for each of the person's sites that has set lots aside; why and where to look stands with the lot."""
    lots: dict[str, list[QuarantinedLot]] = {}
    for lot in lots_aside_at(sites_for(request.user, "cases")):
        lots.setdefault(lot.site.name, []).append(lot)
    rows = [
        Need(
            when=f"{max(lot.at for lot in listed):%-d %b %Y}",
            state="set aside" if len(listed) == 1 else "the last of them",
            what=f"{site}: {joined([f'{lot.lot} ({lot.device_model})' for lot in listed])}",
            why="Not to be opened. On which shelves to look, and why, stands with the lot.",
            mark="none",
            address=f"{reverse('lots')}#aside",
            act="Where to look",
        )
        for site, listed in lots.items()
    ]
    return [NeedGroup("Lots set aside", rows)] if rows else []


def _signals(request: MemberRequest) -> list[NeedGroup]:
    """New signals in one line, for those who answer them."""
    if not may_enter(request.user, "signal_answered"):
        return []
    with snapshots.answering(Filters()):
        found = signals(scope_for(request.user, "signals"), Filters())
    new = [one for one in found.signals if one.state == SignalState.NEW]
    if not new:
        return []
    open_sites = frozenset(sites_for(request.user, "cases").values_list("code", flat=True))
    first = figures.signal_lines(new[:1], open_sites)[0]
    alone = len(new) == 1
    line = Need(
        when=first.day,
        state="new",
        what=first.title if alone else f"{counted(len(new), 'signal', 'signals')} to review",
        why=f"{'' if alone else f'The last: {first.title}. '}Reported, cause not established.",
        mark=first.mark,
        address=reverse("signal", args=[first.rule, first.subject]) if alone else reverse("signals"),
        act="Open the signal" if alone else "Open the signals",
    )
    return [NeedGroup("Signals", [line])]
