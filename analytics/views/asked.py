"""What every page of figures begins and ends with: the address read, the scope, CSV, filters that are refused."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.http import HttpResponse

from analytics import asking
from analytics.asking import Asked
from analytics.tables import Value, for_spreadsheets, write_rows
from registry.access import Scope, scope_for, sites_for
from registry.doors import MemberRequest

Sites = dict[str, str]
"""Names of sites by code."""


def what_is_asked(
    request: MemberRequest, route: str, allowed: Sequence[str], query: Any = None
) -> tuple[Asked, Scope, Sites]:
    """What the address asks, the sites it asks about, and the names of all that it may."""
    found = list(sites_for(request.user, route).order_by("name").values_list("code", "name", "pk"))
    names = {code: name for code, name, _ in found}
    asked = asking.ask(dict((request.GET if query is None else query).lists()), allowed, names)
    scope = scope_for(request.user, route)
    if asked.sites and not asked.problems:
        scope = scope.among(key for code, _, key in found if code in asked.sites)
    return asked, scope, names


def open_sites_of(request: MemberRequest) -> frozenset[str]:
    """The sites, by code, whose cases may be opened by who asks: of these alone days, cases and reasons are told."""
    return frozenset(sites_for(request.user, "cases").values_list("code", flat=True))


def file_of(name: str, kind: str) -> HttpResponse:
    """An empty file of a kind, to be written into."""
    return HttpResponse(content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})


def csv_of(name: str, columns: Sequence[str], rows: Iterable[Sequence[Value]]) -> HttpResponse:
    """A heading and rows as a file that a spreadsheet may open."""
    response = file_of(name, "text/csv; charset=utf-8")
    write_rows(columns, for_spreadsheets(rows), response)
    return response


def refused(asked: Asked) -> HttpResponse:
    """Figures for filters that were not understood would be taken for those that were meant."""
    message = "".join(f"{problem}\n" for problem in asked.problems)
    return HttpResponse(message, status=400, content_type="text/plain; charset=utf-8")
