"""Lots seen twice and lots set aside, and those of one case; who may sets a lot aside at a site and releases it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from analytics import cohorts, figures, recording, summaries
from analytics.views.asked import csv_of, open_sites_of
from registry.access import NotFound, case_for, scope_for, sites_for
from registry.case_fields import NAME
from registry.doors import MemberRequest, page
from registry.drawings.phrases import raised
from registry.forms.administration import SiteForm
from registry.recording.change import NotSaved

MOST = 100
MOST_RELEASED = 100
REFUSED, OVERTAKEN = 422, 409


class LotForm(SiteForm):
    """A lot to set aside; the writer says what is right."""

    model = forms.CharField(label="Model, by its code", max_length=NAME)
    lot = forms.CharField(
        label="Lot", max_length=NAME, help_text="As it is printed on the package; spelled as in the cases."
    )
    reason = forms.CharField(
        label="Reason", max_length=recording.LONGEST, widget=forms.Textarea(attrs={"rows": 3})
    )
    shelves = forms.CharField(
        label="Which shelves to look on",
        max_length=recording.LONGEST,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    field_order = ("site", "model", "lot", "reason", "shelves")


@require_GET
@page("lots")
def lots(request: MemberRequest) -> HttpResponse:
    """Both lists; `?model=` and `?lot=` fill in the form."""
    given = {name: request.GET.get(name, "")[:NAME].replace("\0", "") for name in ("model", "lot")}
    return _page(request, _form(request, initial=given))


@require_GET
@page("case_lots")
def case_lots(request: MemberRequest, code: str) -> HttpResponse:
    """The lots set aside of which a case holds a device; the page of the case asks for it once it stands."""
    case = case_for(request.user, "case_lots", code)
    with cohorts.at_one_moment():
        kept = cohorts.lots_aside_of(case)
        said = recording.said_of_lots(kept, open_sites_of(request))
        aside = summaries.asides(kept, said)
    whole = "case_lots.html" if not request.headers.get("HX-Request") else "_case_lots.html"
    return render(request, f"analytics/{whole}", {"case": case, "aside": aside})


@require_GET
@page("lots_csv")
def lots_csv(request: MemberRequest) -> HttpResponse:
    """Each first event in a lot seen twice; of other sites' events neither day nor case, as on the page."""
    scope = scope_for(request.user, "lots_csv")
    own = open_sites_of(request)
    with cohorts.at_one_moment():
        aside = summaries.asides(cohorts.lots_set_aside(), {})
        seen = summaries.with_events(scope, summaries.lots_in_brief(scope), aside, own)
    return csv_of("lots.csv", figures.LOT_COLUMNS, figures.lot_rows(seen))


@require_GET
@page("lots_aside_csv")
def lots_aside_csv(request: MemberRequest) -> HttpResponse:
    """Each lot set aside now; day, name, reason and shelves of one's own sites alone, as on the page."""
    own = open_sites_of(request)
    with cohorts.at_one_moment():
        kept = cohorts.lots_set_aside()
        aside = summaries.asides(kept, recording.said_of_lots(kept, own))
    return csv_of("lots-set-aside.csv", figures.ASIDE_COLUMNS, figures.aside_rows(aside))


def _form(request: MemberRequest, *arguments: Any, **options: Any) -> LotForm | None:
    """The form with the sites at which somebody may set a lot aside, None where there is none."""
    sites = list(sites_for(request.user, "lot_set_aside").order_by("name"))
    return LotForm(sites, *arguments, **options) if sites else None


def _page(request: MemberRequest, form: LotForm | None, status: int = 200) -> HttpResponse:
    open_sites = open_sites_of(request)
    scope = scope_for(request.user, "lots")
    with cohorts.at_one_moment():
        kept = cohorts.lots_set_aside()
        released = cohorts.lots_released(sites_for(request.user, "cases"), MOST_RELEASED)
        said = recording.said_of_lots((*kept, *released), open_sites)
        aside = summaries.asides(kept, said)
        seen = summaries.lots_in_brief(scope)
        shown = summaries.with_events(scope, seen[:MOST], aside, open_sites)
    context = {
        "form": form,
        "seen": shown,
        "more": len(seen) - len(shown),
        "aside": aside,
        "released": summaries.asides(released, said),
        "may_release": set(sites_for(request.user, "lot_released").values_list("name", flat=True)),
    }
    return render(request, "analytics/lots.html", context, status=status)


@require_POST
@page("lot_set_aside")
def lot_set_aside(request: MemberRequest) -> HttpResponse:
    """Set a lot aside at a site, with why and on which shelves to look."""
    form = _form(request, request.POST)
    if form is not None and form.is_valid():
        data = form.cleaned_data
        site = sites_for(request.user, "lot_set_aside").get(code=data["site"])
        model = cohorts.model_with_code(data["model"].strip())
        if model is None:
            form.add_error(
                "model", "No case and no catalogue names this model. Allowed: the code of one that they do."
            )
            return _page(request, form, REFUSED)
        try:
            recording.set_lot_aside(
                site, model, data["lot"], data["reason"], data["shelves"], by=request.user
            )
        except NotSaved as refused:
            form.add_error(None, raised(f"{refused}."))
            return _page(request, form, REFUSED)
        messages.success(request, f"Lot {data['lot'].strip()} of {model} is set aside at {site.name}.")
        return redirect("lots")
    return _page(request, form, REFUSED)


@require_POST
@page("lot_released")
def lot_released(request: MemberRequest, code: str) -> HttpResponse:
    """Release a lot that a site had set aside; the entry stays in the history."""
    row = cohorts.lot_with_code(code, sites_for(request.user, "lot_released"))
    if row is None:
        raise NotFound("there is no such lot")
    try:
        recording.release_lot(code, by=request.user)
    except NotSaved as refused:
        messages.warning(request, raised(f"{refused}: somebody else has released it."))
        return _page(request, _form(request), OVERTAKEN)
    messages.success(request, f"Lot {row.lot} of {row.device_model} is released at {row.site.name}.")
    return redirect("lots")
