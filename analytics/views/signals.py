"""Signals: the list over all sites, one signal with what it rests on, and the word that is added to its history."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from analytics import asking, chips, figures, recording
from analytics.answers import OF_DEVICES
from analytics.answers_months import Mark
from analytics.answers_signals import Signal, SignalRule, Signals
from analytics.asking import Asked
from analytics.charts.figure import Figure
from analytics.cohorts import Filters
from analytics.forms.signal import AnswerForm
from analytics.signals import signals as signals_of
from analytics.signals.charts import limits_of_months
from analytics.views.asked import Sites, what_is_asked
from analytics.views.device import marks_of
from registry.access import NotFound, Scope, may_enter, scope_for, sites_for
from registry.cautions import caution
from registry.doors import MemberRequest, page
from registry.drawings.phrases import raised
from registry.recording.change import NotSaved
from registry.terms import SignalState

REFUSED = 422
Opened = tuple[SignalRule, str]


@require_GET
@page("signals")
def signals(request: MemberRequest) -> HttpResponse:
    """Every signal, the newest first; how many charts are watched and how many false alarms they are to give."""
    asked, scope, sites = what_is_asked(request, "signals", asking.OF_SIGNALS)
    context: dict[str, Any] = {"asked": asked, "cautions": [*map(caution, OF_DEVICES)]}
    if not asked.problems:
        found = signals_of(scope, asked.filters)
        open_sites = _open_sites(request.user)
        context |= {
            "found": found,
            "lines": figures.signal_lines(found.signals, open_sites),
            "withdrawn": figures.signal_lines(found.withdrawn, open_sites),
            "watched": figures.watched_in_words(found),
            "charts": figures.charts_watched(found),
            "sites": len(sites),
        }
    context["chips"] = [chips.device_chip(asked, wires=False)]
    return render(request, "analytics/signals.html", context)


def _open_sites(person: Any) -> frozenset[str]:
    """The sites whose cases the person may open."""
    return frozenset(sites_for(person, "cases").values_list("code", flat=True))


def _found(scope: Scope, rule: str, subject: str) -> tuple[Signals, Signal]:
    """All signals and the one of that rule and subject; NotFound where it neither crosses nor was answered."""
    opened: Opened | None = (SignalRule(rule), subject) if rule in list(SignalRule) else None
    found = signals_of(scope, Filters(), opened)
    for one in (*found.signals, *found.withdrawn):
        if (one.chart.rule, one.chart.subject) == opened:
            return found, one
    raise NotFound("there is no such signal")


@require_GET
@page("signal")
def signal(request: MemberRequest, rule: str, subject: str) -> HttpResponse:
    """One signal: its state, what crossed, the cases behind it, how many charts were watched, and its history."""
    return _page(request, rule, subject)


def _page(
    request: MemberRequest, rule: str, subject: str, form: AnswerForm | None = None, status: int = 200
) -> HttpResponse:
    found, one = _found(scope_for(request.user, "signal"), rule, subject)
    open_sites = _open_sites(request.user)
    chart = one.chart
    if form is None and may_enter(request.user, "signal_answered"):
        form = AnswerForm(initial={"crossings": len(chart.crossings)})
    crossed = chart.crossings[-1] if chart.crossings else None
    marks = _marks(request, one)
    names = dict(sites_for(request.user, "signal").values_list("code", "name"))
    models = {chart.model: chart.name} if chart.model else {}
    (line,) = figures.signal_lines([one], open_sites)
    context = {
        "line": line,
        "chart": chart,
        "picture": figures.signal_chart(chart, _limits(one), marks, open_sites),
        "marks": marks,
        "said": figures.signal_in_words(chart, open_sites),
        "cases": figures.case_lines(crossed, open_sites, names, models) if crossed else [],
        "watched": figures.watched_in_words(found),
        "charts": figures.charts_watched(found, (chart.rule, chart.subject)),
        "others": _others(found, one, open_sites),
        "history": figures.history(one, open_sites),
        "form": form,
        "figures_of": Asked({"rule": (rule,), "subject": (subject,)}, (), Filters(), ()),
        "cautions": [*map(caution, OF_DEVICES)],
    }
    return render(request, "analytics/signal.html", context, status=status)


def _limits(one: Signal) -> figures.Limits:
    chart = one.chart
    single = chart.rule == SignalRule.SINGLE_MONTH and chart.watch is not None
    return limits_of_months(chart.record, chart.watch) if single and chart.watch else {}


def _others(found: Signals, one: Signal, open_sites: frozenset[str]) -> list[figures.SignalLine]:
    """Other signals of the same model."""
    model = one.chart.model
    same = [other for other in found.signals if model and other.chart.model == model and other is not one]
    return figures.signal_lines(same, open_sites)


@require_POST
@page("signal_answered")
def signal_answered(request: MemberRequest, rule: str, subject: str) -> HttpResponse:
    """Add a word to the history; it is about the last crossing that the page had shown."""
    _, one = _found(scope_for(request.user, "signal"), rule, subject)
    form = AnswerForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        seen = one.chart.crossings[: data["crossings"]]
        crossed = seen[-1].day if seen else one.day
        try:
            recording.answer_signal(
                rule, subject, crossed, SignalState(data["state"]), data["words"], by=request.user
            )
        except NotSaved as refused:
            form.add_error("words", raised(f"{refused}."))
        else:
            messages.success(request, "It stands in the history.")
            return redirect("signal", rule, subject)
    return _page(request, rule, subject, form, REFUSED)


def _marks(request: MemberRequest, one: Signal) -> list[Mark]:
    """Annotations on the charts of the reader's own sites, none beside a lot, which has no chart."""
    if one.chart.rule == SignalRule.ONE_LOT:
        return []
    return marks_of(scope_for(request.user, "device"), one.chart.model or None)


def signal_chart(request: MemberRequest, asked: Asked) -> Figure | None:
    """The chart of a signal as a file, as its reader sees it on the page."""
    _, one = _found(scope_for(request.user, "signal"), asked.of("rule"), asked.of("subject"))
    return figures.signal_chart(one.chart, _limits(one), _marks(request, one), _open_sites(request.user))


def charts_watched(scope: Scope, asked: Asked, sites: Sites) -> Figure | None:
    """All charts watched, as a file."""
    return figures.charts_watched(signals_of(scope, asked.filters))
