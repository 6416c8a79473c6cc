"""A device over time: one model, or all devices or a class of them together."""

from __future__ import annotations

import datetime
import string
from collections.abc import Iterable, Sequence
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from analytics import asking, chips, cohorts, figures, snapshots, summaries
from analytics.answers import OF_DEVICES
from analytics.answers_months import Mark, OverTime, ProceduresOverTime
from analytics.answers_signals import Chart
from analytics.asking import Asked
from analytics.charts.figure import Figure
from analytics.forms.annotation import AnnotationForm
from analytics.recording import said_in
from analytics.signals import crossed_charts_of
from analytics.views.asked import Sites, csv_of, refused, what_is_asked
from registry.access import NotFound, Scope, may_enter, scope_for, sites_for
from registry.cautions import caution
from registry.doors import MemberRequest, page
from registry.drawings.phrases import lowered, named

SHOWN_EVENTS = 50
"""Events of a model that its page lists, the latest; its CSV has them all."""


@require_GET
@page("device")
def device(request: MemberRequest, code: str) -> HttpResponse:
    """Uses and events of one model by month, and the sum over them."""
    return page_of_months(request, code)


@require_GET
@page("over_time")
def over_time(request: MemberRequest) -> HttpResponse:
    """The same of all devices, or of a class, and cases by procedures."""
    return page_of_months(request, None)


def page_of_months(
    request: MemberRequest, code: str | None, *, form: AnnotationForm | None = None, status: int = 200
) -> HttpResponse:
    """The page of a model, or without one of all devices; `form` is an annotation that could not be kept."""
    model = _model(code) if code is not None else None
    route, allowed = ("device", asking.OF_MODEL) if model else ("over_time", asking.OF_DEVICES)
    asked, scope, sites = what_is_asked(request, route, allowed)
    context: dict[str, Any] = {
        "asked": asked,
        "model": model,
        "name": str(model) if model else "",
        "kind": lowered(named("device_class", model.device_class, "device class")) if model else "",
        "cautions": [*map(caution, OF_DEVICES)],
        "may_mend": may_enter(request.user, "device_use"),
        "may_see_signals": may_enter(request.user, "signals"),
    }
    if not asked.problems:
        context |= _of_months(scope, asked, sites, model)
        if model and context["crosses"] and context["may_see_signals"]:
            context["signals"] = _signals_of(request, model)
    may_annotate = list(sites_for(request.user, "annotation_added").order_by("name"))
    context["may_end"] = [site.code for site in may_annotate]
    context["form"] = form or (AnnotationForm(may_annotate, code) if may_annotate else None)
    context["form_open"] = form is not None
    context["chips"] = [
        *([] if model else [chips.device_chip(asked, wires=False)]),
        *chips.site_chip(asked, sites),
        chips.period_chip(asked, whole_months=True),
    ]
    context["narrowed"] = chips.narrowed(context["chips"])
    return render(request, "analytics/device.html", context, status=status)


def _model(code: str) -> Any:
    """The row of the catalogue; NotFound without one."""
    model = cohorts.model_with_code(code.replace("\0", ""))
    if model is None:
        raise NotFound("there is no such model")
    return model


@require_GET
@page("device_events_csv")
def device_events_csv(request: MemberRequest, code: str) -> HttpResponse:
    """Every event of one model, for the filters of its page."""
    model = _model(code)
    asked, scope, _ = what_is_asked(request, "device_events_csv", asking.OF_MODEL)
    if asked.problems:
        return refused(asked)
    lines = figures.event_lines(summaries.months_of(scope, asked.filters, model.code))
    columns = ("day", "site", "case", "situation", "ending", "lot", "note")
    return csv_of("events.csv", columns, ([getattr(line, name) for name in columns] for line in lines))


def _of_months(scope: Scope, asked: Asked, sites: Sites, model: Any) -> dict[str, Any]:
    """What the page shows; `model` is a row of the catalogue, None for all devices."""
    code = model.code if model else None
    with snapshots.answering(asked.filters) if code is None else cohorts.at_one_moment() as as_of:
        found = summaries.over_time(scope, asked.filters, code, model.device_class if model else None)
        months = [one.month for one in found.asked.months]
        returns = "" if model else _returns(scope, asked, months, sites)
        marks = marks_of(scope, code)
        lots = _lots(scope, code)
        procedures = (
            summaries.over_time_of_procedures(scope, asked.filters) if _with_procedures(asked, code) else None
        )
        cases = found.asked.cases if model else _cases(scope, asked, procedures)
    subject = _subject(asked, model)
    query = {**asked.typed, **({"model": (code,)} if code is not None else {})}
    record = found.asked
    events = figures.event_lines(record) if code is not None else []
    return {
        "figures_of": Asked(query, asked.sites, asked.filters, ()),
        "subject": subject,
        "as_of": as_of,
        "record": record,
        "cases": cases,
        "period": (months[0], months[-1]) if months else None,
        "returns": returns,
        "completeness": f"{reverse('denominators')}{asked.address(device_class='')}",
        "left_out": figures.left_out_in_words(record.left_out),
        "by_month": figures.events_by_month(found, marks, subject, lots),
        "lots_ringed": bool(lots),
        "between": figures.uses_between_events(found, subject),
        "sum": figures.running_sum(found, marks, subject),
        "why": figures.why_this_chart(found),
        "half_years": figures.half_years(found),
        "said_of_sum": figures.sum_in_words(found),
        "no_baseline": found.baseline is None,
        "crosses": figures.crosses(found),
        "events": events[:SHOWN_EVENTS],
        "more_events": max(len(events) - SHOWN_EVENTS, 0),
        "marks": marks,
        "to_mend": [(sites.get(one.site, one.site), one) for one in record.to_mend],
        "why_procedures": figures.why_of_procedures(procedures) if procedures else "",
        "procedures": figures.cases_by_month(procedures, marks) if procedures else None,
    }


def _signals_of(request: MemberRequest, model: Any) -> list[tuple[Chart, str]]:
    """The signals of a model with their titles: those look at all sites, so what crosses here may not cross there."""
    found = crossed_charts_of(scope_for(request.user, "signal"), model.code)
    return [(chart, figures.signal_title(chart)) for chart in found]


def _returns(scope: Scope, asked: Asked, months: Sequence[datetime.date], sites: Sites) -> str:
    """How complete the returns are, on the page of all devices; that of a model leads to where it is said."""
    found = summaries.whole_returns(scope, asked.filters, months, sorted(asked.sites or sites))
    return figures.returns_in_words(found)


def _lots(scope: Scope, code: str | None) -> frozenset[str]:
    """The lots of a model that stand out; on a page of many models a lot alone names none."""
    return cohorts.lots_that_stand_out(scope, code) if code is not None else frozenset()


def _cases(scope: Scope, asked: Asked, procedures: ProceduresOverTime | None) -> int:
    """Cases behind the events of all models together, or of a class."""
    if procedures is not None:
        return procedures.cases_in_all
    return summaries.extent_of_devices(scope, asked.filters).cases


def _with_procedures(asked: Asked, code: str | None) -> bool:
    """Procedures know of no device, so they stand on the page of all devices alone."""
    return code is None and not asked.filters.device_class


def _subject(asked: Asked, model: object | None) -> str:
    kind = asked.filters.device_class
    return str(model) if model else named("device_class", kind, "device class") if kind else "All devices"


def marks_of(scope: Scope, code: str | None) -> list[Mark]:
    """The annotations of the sites asked about, lettered by their day."""
    said = said_in(cohorts.annotations_of(scope, code))
    return [
        Mark(
            code=row.code,
            letter=letter,
            day=row.day,
            site=row.site.code,
            site_name=row.site.name,
            model=str(row.device_model or ""),
            words=words["words"],
            by=str(row.by),
            at=row.at,
        )
        for letter, (row, words) in zip(_letters(len(said)), said, strict=True)
    ]


def _letters(number: int) -> Iterable[str]:
    """A to Z, then AA to ZZ."""
    alphabet = string.ascii_uppercase
    found = [*alphabet, *(one + other for one in alphabet for other in alphabet)]
    return found[:number] + [str(which) for which in range(len(found) + 1, number + 1)]


def _found(scope: Scope, asked: Asked) -> tuple[OverTime, list[Mark], str]:
    """For a figure as a file: its model is among the filters."""
    code = asked.of("model") or None
    model = _model(code) if code else None
    found = summaries.over_time(scope, asked.filters, code, model.device_class if model else None)
    return found, marks_of(scope, code), _subject(asked, model)


def events_by_month(scope: Scope, asked: Asked, sites: Sites) -> Figure | None:
    """First events by month, with limits."""
    found, marks, subject = _found(scope, asked)
    return figures.events_by_month(found, marks, subject, _lots(scope, asked.of("model") or None))


def uses_between_events(scope: Scope, asked: Asked, sites: Sites) -> Figure | None:
    """Uses between first events, where that is the chart for them."""
    found, _, subject = _found(scope, asked)
    return figures.uses_between_events(found, subject)


def running_sum(scope: Scope, asked: Asked, sites: Sites) -> Figure | None:
    """The sum use by use."""
    return figures.running_sum(*_found(scope, asked))


def cases_by_month(scope: Scope, asked: Asked, sites: Sites) -> Figure | None:
    """Cases with a complication by month, in procedures."""
    if not _with_procedures(asked, asked.of("model") or None):
        return None
    return figures.cases_by_month(
        summaries.over_time_of_procedures(scope, asked.filters), marks_of(scope, None)
    )
