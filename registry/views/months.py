"""Pages for the two monthly words of a site: units of each device model used, and the monthly return."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_GET, require_http_methods

from registry.access import NotFound, sites_for
from registry.doors import MemberRequest, page
from registry.drawings.marks import mark
from registry.drawings.phrases import raised
from registry.forms.administration import ReturnForm, UsesForm
from registry.reading.administration import (
    last_months,
    reporting_of,
    returns_of,
    staff_codes,
    uses_of_month,
)
from registry.recording.change import NotSaved
from registry.recording.checking import today_at
from registry.recording.devices import (
    import_procedures,
    month_of,
    record_month_of_use,
    return_stands,
    uses_stand,
)
from registry.recording.rows import MovedOn, RowsRefused

MOST_FIELDS = 900


def _site(request: MemberRequest, route: str, code: str) -> Any:
    """The site of this code, or one's first; NotFound where it is not one's own."""
    sites = sites_for(request.user, route).order_by("code")
    site = sites.filter(code=code).first() if code else sites.first()
    if site is None:
        raise NotFound("there is no such site")
    return site


def _month(text: str, today: datetime.date) -> datetime.date:
    """A month up to this one, without a text the last whole one."""
    month = month_of(text) if text else last_months(today, 2)[1]
    if month is None or month > today:
        raise NotFound("there is no such month")
    return month


@require_http_methods(["GET", "POST"])
@page("device_use")
def device_use(request: MemberRequest) -> HttpResponse:
    """The uses of one site and month, by `?site=` and `?month=`, a field a model; empty is not recorded."""
    site = _site(request, "device_use", request.GET.get("site", ""))
    today = today_at(site)
    month = _month(request.GET.get("month", ""), today)
    stood = uses_stand(site, month)
    form, status = UsesForm(uses_of_month(site, month), initial={"stood": stood}), 200
    if request.method == "POST":
        form, status = UsesForm(uses_of_month(site, month, _keys(_fields(request.POST))), request.POST), 422
        if request.POST.get("act") == "add" or request.POST.get("another"):
            form, status = _with_another(request.POST, site, month), 200
        elif form.is_valid():
            try:
                record_month_of_use(
                    site, month, form.wanted(), stood=form.cleaned_data["stood"], by=request.user
                )
                messages.success(request, f"Device uses of {month:%B %Y} at {site.name} are recorded.")
                return redirect(
                    f"{reverse('device_use')}?{urlencode({'site': site.code, 'month': f'{month:%Y-%m}'})}"
                )
            except RowsRefused as refused:
                form.take_uses(refused.wrongs)
            except MovedOn:
                form, status = _uses_after_another(request.POST, site, month), 409
            except NotSaved as refused:
                form.add_error(None, raised(f"{refused}."))
    months = sorted({*last_months(today), month}, reverse=True)
    context = {
        "form": form, "site": site, "month": month, "months": months,
        "sites": sites_for(request.user, "device_use").order_by("code"),
    }  # fmt: skip
    return render(request, "registry/administration/device_use.html", context, status=status)


def _fields(sent: QueryDict) -> list[str]:
    """The models whose fields a page had, among them those that were added to it."""
    return [name.removeprefix("uses_") for name in sent if name.startswith("uses_")]


def _keys(written: Iterable[str]) -> list[int]:
    return [int(key) for key in written if key.isascii() and key.isdecimal() and len(key) < 18][:MOST_FIELDS]


def _with_another(sent: QueryDict, site: Any, month: datetime.date) -> UsesForm:
    """The page as it was sent, one model longer."""
    chosen = sent.get("another", "")
    rows = uses_of_month(site, month, _keys([*_fields(sent), chosen]))
    return UsesForm(rows, initial={name: value for name, value in sent.items() if name != "another"})


def _uses_after_another(sent: QueryDict, site: Any, month: datetime.date) -> UsesForm:
    """The page as it was sent, to be sent again knowing what somebody else has saved meanwhile."""
    rows = uses_of_month(site, month, _keys(_fields(sent)))
    form = UsesForm(rows, {**sent.dict(), "stood": uses_stand(site, month)})
    for row in rows:
        now = "not recorded" if row.uses is None else str(row.uses)
        name = f"uses_{row.model.key}"
        if sent.get(name, "") != ("" if row.uses is None else str(row.uses)):
            form.add_error(name, f"Recorded now: {now}.")
    form.add_error(
        None,
        "Somebody else has changed this month; nothing was saved. Where it stands otherwise now, that is said "
        "beside the model. Sending this again replaces it.",
    )
    return form


@require_GET
@page("returns")
def returns(request: MemberRequest) -> HttpResponse:
    """The last 24 months of a site, by `?site=`, newest first."""
    site = _site(request, "returns", request.GET.get("site", ""))
    rows = returns_of(site, last_months(today_at(site)))
    sheet = static("registry/marks.svg")
    marked = [(row, mark_safe(mark(row.mark, sheet))) for row in rows]
    context = {"site": site, "rows": marked, "sites": sites_for(request.user, "returns").order_by("code")}
    return render(request, "registry/administration/returns.html", context)


@require_http_methods(["GET", "POST"])
@page("returns_month")
def returns_month(request: MemberRequest, site: str, month: str) -> HttpResponse:
    """The return of one month."""
    place = _site(request, "returns_month", site)
    first = _month(month, today_at(place))
    form, status = ReturnForm(request.POST or None, initial=_return_initial(place, first)), 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            data = form.cleaned_data
            row = {name: data[name].strip() for name in ("procedures", "reporting", "confirmed_by")}
            row |= {"site": place.code, "month": f"{first:%Y-%m}"}
            try:
                import_procedures([(1, row)], check_only=False, by=request.user, stood=data["stood"])
                messages.success(request, f"The return of {first:%B %Y} is recorded.")
                return redirect(f"{reverse('returns')}?{urlencode({'site': place.code})}")
            except RowsRefused as refused:
                form.take(refused.wrongs, {name: name for name in row})
            except MovedOn:
                form, status = _return_after_another(form, place, first), 409
            except NotSaved as refused:
                form.add_error(None, raised(f"{refused}."))
    context = {"form": form, "site": place, "month": first, "staff": staff_codes(place)}
    return render(request, "registry/administration/return.html", context, status=status)


def _return_initial(site: Any, month: datetime.date) -> dict[str, object]:
    row = returns_of(site, [month])[0]
    return {
        "stood": return_stands(site, month),
        "procedures": "" if row.procedures is None else str(row.procedures),
        "reporting": reporting_of(site, month),
        "confirmed_by": row.confirmed_by,
    }


def _return_after_another(form: ReturnForm, site: Any, month: datetime.date) -> ReturnForm:
    """The same form, to be sent again knowing what somebody else has saved meanwhile."""
    row = returns_of(site, [month])[0]
    again = ReturnForm(dict(form.data.items()) | {"stood": return_stands(site, month)})
    procedures = "procedures not recorded" if row.procedures is None else f"{row.procedures} procedures"
    confirmed = f", confirmed by {row.confirmed_by}" if row.confirmed_by else ""
    again.add_error(
        None,
        f"Somebody else has given this month; nothing was saved. It stands now as: {procedures}, "
        f"{row.word.lower()}{confirmed}. Sending this again replaces that.",
    )
    return again
