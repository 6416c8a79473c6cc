"""Marks on the charts of a site: put on and taken off by its director."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from analytics import cohorts
from analytics.forms.annotation import AnnotationForm
from analytics.recording import annotate, end_annotation
from analytics.views.device import page_of_months
from registry.access import NotFound, scope_for, sites_for
from registry.doors import MemberRequest, page
from registry.drawings.phrases import raised
from registry.recording.change import NotSaved


@require_POST
@page("annotation_added")
def annotation_added(request: MemberRequest) -> HttpResponse:
    """Put a mark on; what cannot be kept is given back on the page that it came from."""
    code = _code(request)
    model = cohorts.model_with_code(code) if code else None
    if code and model is None:
        raise NotFound("there is no such model")
    sites = sites_for(request.user, "annotation_added").order_by("name")
    form = AnnotationForm(sites, code or None, request.POST)
    if form.is_valid():
        data = form.cleaned_data
        about = model if data.get("about") == "model" else None
        try:
            annotate(sites.get(code=data["site"]), data["day"], data["words"], model=about, by=request.user)
        except NotSaved as refused:
            form.add_error(None, raised(f"{refused}."))
        else:
            messages.success(request, "It stands on the charts.")
            return _back(request)
    return page_of_months(request, code or None, form=form, status=422)


@require_POST
@page("annotation_ended")
def annotation_ended(request: MemberRequest, code: str) -> HttpResponse:
    """Take a mark off; NotFound where it is of no site of the person's."""
    if not cohorts.ever_annotated(scope_for(request.user, "annotation_ended"), code):
        raise NotFound("there is no such annotation")
    try:
        end_annotation(code, by=request.user)
    except NotSaved as refused:
        messages.warning(request, raised(f"{refused}."))
    else:
        messages.success(request, "It is off the charts; the history keeps it.")
    return _back(request)


def _code(request: MemberRequest) -> str:
    """The model whose page was used; a null character is in no code."""
    return request.POST.get("model", "").replace("\0", "")


def _back(request: MemberRequest) -> HttpResponse:
    """To the page that was used, with its filters."""
    code, asked = _code(request), request.GET.urlencode()
    address = (
        reverse("device", args=[code]) if code and cohorts.model_with_code(code) else reverse("over_time")
    )
    return redirect(f"{address}{f'?{asked}' if asked else ''}#annotations")
