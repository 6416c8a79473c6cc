"""Reading cases: the list with its filters, one case, its names and notes, and two versions side by side."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from registry.access import NotAllowed, case_for
from registry.doors import MemberRequest, page
from registry.reading.filters import choices, filters_from
from registry.reading.history import compared, versions_of
from registry.reading.listing import cases_page, sites_to_list, states_of
from registry.reading.one_case import case_shown, title_of_case
from registry.reading.sealed import names_and_notes
from registry.sealing import KeysMissing, NotOpened
from registry.terms import CaseState


@require_GET
@page("cases")
def cases(request: MemberRequest) -> HttpResponse:
    """The cases of one's sites, newest first; what cannot be a filter is told and left out."""
    sites = sites_to_list(request.user)
    filters = filters_from(request.GET.dict(), sites)
    found = cases_page(request.user, filters)
    lists = {name: choices(name) for name in ("device", "situation", "ending", "state", "status")}
    context = {
        "filters": filters,
        "found": found,
        "sites": sites,
        "lists": lists,
        "next": filters.address(found.after) if found.after else "",
        "first": filters.address(),
    }
    return render(request, "registry/cases.html", context)


@require_GET
@page("case")
def case(request: MemberRequest, code: str) -> HttpResponse:
    """A case with its pictures, facts, plan, duties and versions."""
    read = case_for(request.user, "case", code)
    context = {
        "case": case_shown(read, timezone.localdate()),
        "versions": versions_of(read),
        "may_open": _may(request, "case_whole", code),
        "may_change": read.state == CaseState.SUBMITTED
        and not read.erased
        and _may(request, "amend_case", code),
    }
    return render(request, "registry/case.html", context)


def _may(request: MemberRequest, route: str, code: str) -> bool:
    """Whether the button that leads there is shown; the door itself asks again."""
    try:
        case_for(request.user, route, code)
    except NotAllowed:
        return False
    return True


@require_http_methods(["GET", "POST"])
@page("case_whole")
def case_whole(request: MemberRequest, code: str) -> HttpResponse:
    """Names and notes: a page that asks, and, once it is answered, the texts. The look is recorded before they open."""
    read = case_for(request.user, "case_whole", code)
    context: dict[str, object] = {
        "code": read.code,
        "title": title_of_case(read),
        "states": states_of(read),
        "erased": read.erased,
        "asked": request.method == "POST",
    }
    if request.method == "POST" and not read.erased:
        try:
            context["texts"] = names_and_notes(request.user, read)
        except (NotOpened, KeysMissing):
            context["closed"] = True
    return render(request, "registry/case_whole.html", context)


@require_GET
@page("case_versions")
def case_versions(request: MemberRequest, code: str) -> HttpResponse:
    """Two versions of a case, compared in words."""
    read = case_for(request.user, "case_versions", code)
    versions = versions_of(read)
    context = {
        "code": read.code,
        "title": title_of_case(read),
        "states": states_of(read),
        "versions": versions,
        "compared": compared(read, versions, request.GET.get("from", ""), request.GET.get("to", "")),
    }
    return render(request, "registry/case_versions.html", context)
