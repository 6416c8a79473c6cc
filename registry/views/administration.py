"""Pages of administration: what there is to do, the device catalogue, and tables given as CSV."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from registry.access import NotFound, may_enter, sites_for
from registry.canonical import NotReadable
from registry.doors import MemberRequest, page
from registry.drawings.phrases import raised
from registry.forms.administration import ModelForm, RowsForm
from registry.reading.administration import (
    last_months,
    model_with_code,
    models_found,
    queued_models,
    returns_of,
)
from registry.recording.change import NotSaved
from registry.recording.devices import (
    catalogue_stands,
    import_catalogue,
    import_device_use,
    import_procedures,
)
from registry.recording.imports import ImportRefused, Tally
from registry.recording.people import people_of
from registry.recording.rows import MovedOn, RowsRefused
from registry.recording.tables_of_text import (
    CATALOGUE_COLUMNS,
    DEVICE_USE_COLUMNS,
    RETURN_COLUMNS,
    rows_of_text,
)

_MODEL_FIELDS = {"maker": "maker", "model": "model", "name": "name", "class": "device_class"}


@require_GET
@page("administration")
def administration(request: MemberRequest) -> HttpResponse:
    """What somebody may administer, with what waits there."""
    whole_months = last_months(timezone.localdate(), 13)[1:]
    sites = sites_for(request.user, "returns").order_by("code")
    silent = [
        (site, [row for row in reversed(returns_of(site, whole_months)) if row.owed and not row.given])
        for site in sites
    ]
    context = {
        "sites": people_of(request.user) if may_enter(request.user, "people") else [],
        "catalogue": may_enter(request.user, "catalogue"),
        "queued": queued_models(),
        "silent": silent,
    }
    return render(request, "registry/administration/overview.html", context)


@require_GET
@page("catalogue")
def catalogue(request: MemberRequest) -> HttpResponse:
    """The device catalogue, those that cases name and it lacks first."""
    search = request.GET.get("q", "").strip()[:200]
    models, found = models_found(search.replace("\0", ""))
    context = {"search": search, "models": models, "found": found, "queued": queued_models()}
    return render(request, "registry/administration/catalogue.html", context)


@require_http_methods(["GET", "POST"])
@page("catalogue_model")
def catalogue_model(request: MemberRequest) -> HttpResponse:
    """One model, by `?code=`; without it a new one."""
    code = request.GET.get("code", "")
    there = model_with_code(code.replace("\0", "")) if code else None
    if code and there is None:
        raise NotFound("there is no such model")
    form, status = ModelForm(request.POST or None, known=there is not None, initial=_initial(code)), 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                return _model_saved(request, form, code)
            except RowsRefused as refused:
                form.take(refused.wrongs, _MODEL_FIELDS)
            except MovedOn:
                status, form = 409, _after_another(form, code)
            except NotSaved as refused:
                form.add_error(None, raised(f"{refused}."))
    context = {"form": form, "model": there}
    return render(request, "registry/administration/model.html", context, status=status)


def _initial(code: str) -> dict[str, str]:
    there = model_with_code(code) if code else None
    if there is None:
        return {"stood": ""}
    values = {
        "maker": there.maker,
        "model": there.code,
        "name": there.name,
        "device_class": there.device_class,
    }
    return {**values, "stood": catalogue_stands(code)}


def _model_saved(request: MemberRequest, form: ModelForm, code: str) -> HttpResponse:
    data = form.cleaned_data
    name = code or data["model"]
    row = {"maker": data["maker"], "model": name, "name": data["name"], "class": data["device_class"]}
    import_catalogue([(1, row)], check_only=False, by=request.user, stood=data["stood"])
    messages.success(request, f"{name} stands in the catalogue.")
    return redirect("catalogue")


def _after_another(form: ModelForm, code: str) -> ModelForm:
    """The same form, to be sent again knowing what somebody else has saved meanwhile."""
    name = code or form.cleaned_data["model"]
    there = model_with_code(name)
    again = ModelForm(dict(form.data.items()) | {"stood": catalogue_stands(name)}, known=bool(code))
    now = (
        f"{there.maker}, {there.name or 'no name'}, {there.class_label.lower()}"
        if there
        else "not in the catalogue"
    )
    again.add_error(
        None,
        f"Somebody else has changed this model; nothing was saved. It stands now as: {now}. "
        "Sending this again replaces that.",
    )
    return again


Writer = Callable[..., Tally]


@dataclass(frozen=True, slots=True)
class _Table:
    """A table that comes as CSV: where from, into what, by which writer."""

    title: str
    about: str
    columns: Sequence[str]
    example: str
    back: str
    writer: Writer


_TABLES = {
    "catalogue_file": _Table(
        "The catalogue by file",
        "A row replaces the model of the same code; models that the file does not name stay as they are.",
        CATALOGUE_COLUMNS,
        "Maker,CODE-1,Name of the model,guidewire",
        "catalogue",
        import_catalogue,
    ),
    "device_use_file": _Table(
        "Device uses by file",
        "What stood for each site and month in the file is replaced; a model that it does not name is not recorded.",
        DEVICE_USE_COLUMNS,
        "site-code,CODE-1,2026-05,12",
        "device_use",
        import_device_use,
    ),
    "returns_file": _Table(
        "Monthly returns by file",
        "A row replaces the return of its site and month. Reporting is all_reported, none_happened or open.",
        RETURN_COLUMNS,
        "site-code,2026-05,140,all_reported,staff-code",
        "returns",
        import_procedures,
    ),
}


def _file_page(request: MemberRequest, route: str) -> HttpResponse:
    """Rows are checked, shown as they were read, and written when that is asked for: all of them or none."""
    table = _TABLES[route]
    form, status = RowsForm(), 200
    errors: list[str] = []
    tally: Tally | None = None
    if request.method == "POST":
        form, status = RowsForm(request.POST, request.FILES), 422
        if form.is_valid():
            apply = request.POST.get("act") == "apply"
            text = form.cleaned_data["rows"]
            try:
                rows = rows_of_text(text, "The table", table.columns)
                tally = table.writer(rows, check_only=not apply, by=request.user)
                status = 200
            except ImportRefused as refused:
                errors = refused.errors
            except (NotReadable, NotSaved) as refused:
                errors = [str(refused)]
            if tally and apply:
                messages.success(request, _tally_words(tally))
                return redirect(table.back)
            form = RowsForm(initial={"rows": text})
    context = {"form": form, "table": table, "errors": errors, "tally": tally, "back": reverse(table.back)}
    return render(request, "registry/administration/file.html", context, status=status)


def _tally_words(tally: Tally) -> str:
    return f"Written: {tally.created} new, {tally.amended} changed, {tally.unchanged} as they were."


@require_http_methods(["GET", "POST"])
@page("catalogue_file")
def catalogue_file(request: MemberRequest) -> HttpResponse:
    """The catalogue as CSV, checked before it is written."""
    return _file_page(request, "catalogue_file")


@require_http_methods(["GET", "POST"])
@page("device_use_file")
def device_use_file(request: MemberRequest) -> HttpResponse:
    """Device uses of one's sites as CSV, checked before they are written."""
    return _file_page(request, "device_use_file")


@require_http_methods(["GET", "POST"])
@page("returns_file")
def returns_file(request: MemberRequest) -> HttpResponse:
    """Monthly returns of one's sites as CSV, checked before they are written."""
    return _file_page(request, "returns_file")
