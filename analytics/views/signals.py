"""Signals: the list over all sites, one signal with what it rests on, and the word that is added to its history."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from analytics import asking, chips, figures, recording, snapshots
from analytics.answers import OF_DEVICES
from analytics.answers_months import Mark
from analytics.answers_signals import Chart, Drawn, Key, Said, Signal, SignalRule, Signals
from analytics.asking import Asked
from analytics.charts.figure import Figure
from analytics.cohorts import Filters
from analytics.forms.signal import AnswerForm
from analytics.signals import drawn_now
from analytics.signals import signals as signals_of
from analytics.signals.charts import limits_of_months
from analytics.snapshots import AsOf
from analytics.views.asked import Sites, open_sites_of, what_is_asked
from analytics.views.device import marks_of
from registry.access import NotFound, Scope, may_enter, scope_for, sites_for
from registry.cautions import caution
from registry.doors import MemberRequest, page
from registry.drawings.phrases import raised
from registry.recording.change import NotSaved
from registry.terms import SignalState

REFUSED = 422
SHOWN_SIGNALS = 100
SHOWN_OTHERS = 10
"""Signals that the list shows at first, the newest."""


@require_GET
@page("signals")
def signals(request: MemberRequest) -> HttpResponse:
    """Every signal, the newest first; how many charts are watched and how many false alarms they are to give."""
    query = request.GET.copy()
    whole = query.pop("all", [""]) == ["yes"]
    asked, scope, sites = what_is_asked(request, "signals", asking.OF_SIGNALS, query)
    context: dict[str, Any] = {"asked": asked, "cautions": [*map(caution, OF_DEVICES)]}
    if not asked.problems:
        with snapshots.answering(asked.filters) as context["as_of"]:
            found = signals_of(scope, asked.filters)
        open_sites = open_sites_of(request)
        shown = found.signals if whole else found.signals[:SHOWN_SIGNALS]
        context |= {
            "found": found,
            "lines": figures.signal_lines(shown, open_sites),
            "more": figures.more_signals(found.signals[len(shown) :]),
            "all": asked.address(all="yes"),
            "withdrawn": figures.signal_lines(found.withdrawn, open_sites),
            "watched": figures.watched_in_words(found),
            "charts": figures.charts_watched(found),
            "sites": len(sites),
        }
    context["chips"] = [chips.device_chip(asked, wires=False)]
    return render(request, "analytics/signals.html", context)


@dataclass(frozen=True, slots=True)
class _Found:
    """One signal, its chart and crossings counted now; `all` may be as of an earlier moment."""

    all: Signals
    as_of: AsOf | None
    drawn: Drawn
    said: tuple[Said, ...]

    @property
    def signal(self) -> Signal:
        """As the list would have it now."""
        return Signal(self.drawn.chart, self.said)

    @property
    def is_one(self) -> bool:
        """Whether it crosses now or was answered, so that something can be said of it."""
        return bool(self.drawn.crossings or self.said)


def _found(person: Any, rule: str, subject: str) -> _Found:
    """NotFound where it neither crosses nor was answered, and did not cross as of the snapshot either."""
    scope = scope_for(person, "signal")
    key = _key(rule, subject)
    with snapshots.answering(Filters()) as as_of:
        found = signals_of(scope, Filters(), key)
        drawn = drawn_now(scope, *key, found.charts)
    listed = [one for one in (*found.signals, *found.withdrawn) if one.chart.key == key]
    if not listed and not drawn.crossings:
        raise NotFound("there is no such signal")
    return _Found(found, as_of, drawn, listed[0].said if listed else ())


def _key(rule: str, subject: str) -> Key:
    if rule not in list(SignalRule):
        raise NotFound("there is no such signal")
    return SignalRule(rule), subject.replace("\0", "")


@require_GET
@page("signal")
def signal(request: MemberRequest, rule: str, subject: str) -> HttpResponse:
    """One signal: its state, what crossed, the cases behind it, how many charts were watched, and its history."""
    return _page(request, rule, subject)


def _page(
    request: MemberRequest, rule: str, subject: str, form: AnswerForm | None = None, status: int = 200
) -> HttpResponse:
    found = _found(request.user, rule, subject)
    drawn, chart = found.drawn, found.drawn.chart
    open_sites = open_sites_of(request)
    if form is None and found.is_one and may_enter(request.user, "signal_answered"):
        form = AnswerForm(initial={"crossings": len(drawn.crossings)})
    crossed = drawn.crossings[-1] if drawn.crossings else None
    marks = _marks(request, chart)
    names = dict(sites_for(request.user, "signal").values_list("code", "name"))
    models = {chart.model: chart.name} if chart.model else {}
    (line,) = figures.signal_lines([found.signal], open_sites)
    others = _others(found, open_sites)
    context = {
        "line": line,
        "chart": chart,
        "picture": figures.signal_chart(drawn, _limits(drawn), marks, open_sites),
        "marks": marks,
        "said": figures.signal_in_words(drawn, open_sites),
        "cases": figures.case_lines(crossed, open_sites, names, models) if crossed else [],
        "as_of": found.as_of,
        "watched": figures.watched_in_words(found.all),
        "charts": figures.charts_watched(found.all, chart.key),
        "others": others[:SHOWN_OTHERS],
        "more_others": others[SHOWN_OTHERS:],
        "history": figures.history(drawn.crossings, found.said, open_sites),
        "form": form,
        "figures_of": Asked({"rule": (rule,), "subject": (subject,)}, (), Filters(), ()),
        "cautions": [*map(caution, OF_DEVICES)],
    }
    return render(request, "analytics/signal.html", context, status=status)


def _limits(one: Drawn) -> figures.Limits:
    single = one.chart.rule == SignalRule.SINGLE_MONTH
    return limits_of_months(one.record, one.watch) if single and one.watch else {}


def _others(found: _Found, open_sites: frozenset[str]) -> list[figures.SignalLine]:
    """Other signals of the same model."""
    this = found.drawn.chart
    same = [one for one in found.all.signals if this.model and one.chart.model == this.model]
    return figures.signal_lines([one for one in same if one.chart.key != this.key], open_sites)


@require_POST
@page("signal_answered")
def signal_answered(request: MemberRequest, rule: str, subject: str) -> HttpResponse:
    """Add a word to the history; it is about the last crossing that the page had shown."""
    found = _found(request.user, rule, subject)
    if not found.is_one:
        raise NotFound("there is no such signal")
    form = AnswerForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        seen = found.drawn.crossings[: data["crossings"]]
        crossed = seen[-1].day if seen else found.signal.day
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


def _marks(request: MemberRequest, chart: Chart) -> list[Mark]:
    """Annotations on the charts of the reader's own sites, none beside a lot, which has no chart."""
    if chart.rule == SignalRule.ONE_LOT:
        return []
    return marks_of(scope_for(request.user, "device"), chart.model or None)


def signal_chart(request: MemberRequest, asked: Asked) -> Figure | None:
    """The chart of a signal as a file, as its reader sees it on the page."""
    key = _key(asked.of("rule"), asked.of("subject"))
    drawn = drawn_now(scope_for(request.user, "signal"), *key)
    marks = _marks(request, drawn.chart)
    return figures.signal_chart(drawn, _limits(drawn), marks, open_sites_of(request))


def charts_watched(scope: Scope, asked: Asked, sites: Sites) -> Figure | None:
    """All charts watched, as a file."""
    return figures.charts_watched(signals_of(scope, asked.filters))
