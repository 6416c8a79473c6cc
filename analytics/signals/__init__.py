"""Which charts of devices are watched over the sites, and which crossed their limit; a signal asks for a review.

No query of its own, nothing causal. A signal is named by its rule and its subject: a model, a class, or a lot of one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from analytics import cohorts, summaries
from analytics.answers_months import MonthlyRecord
from analytics.answers_signals import (
    BETWEEN,
    Chart,
    Drawn,
    Key,
    Said,
    Signal,
    SignalRule,
    Signals,
    newest_first,
)
from analytics.cohorts import Filters, ModelNamed
from analytics.models import SignalWord
from analytics.recording import said_in
from analytics.signals.charts import chart_of_a_class, charts_of_a_model, lots_of
from analytics.signals.kept_charts import watched
from analytics.signals.recent import compared, counts_again, counts_of
from analytics.watching import baseline_of
from registry.access import Scope
from registry.drawings.phrases import named
from registry.terms import UNKNOWN, SignalState

Models = Mapping[str, ModelNamed]


@cohorts.at_one_moment()
def signals(scope: Scope, filters: Filters, opened: Key | None = None) -> Signals:
    """All charts and signals of the scope; of the signal `opened` all words are opened, of others the last.

    PeriodRefused unless the period is of whole months.
    """
    charts, unwatched = watched(scope, filters)
    said = _histories(opened)
    models = cohorts.catalogue_of({_model_of(*key) for key in (*(one.key for one in charts), *said)} - {""})
    by_key = {one.key: _named(one, models) for one in charts}
    crossed = [Signal(one, said.pop(key, ())) for key, one in by_key.items() if one.times]
    gone = [Signal(by_key.get(key) or _no_chart(*key, models), words) for key, words in said.items()]
    wanted = filters.device_class
    withdrawn = [one for one in gone if wanted is None or one.chart.device_class == wanted]
    return Signals(tuple(by_key.values()), newest_first(crossed), newest_first(withdrawn), unwatched)


@cohorts.at_one_moment()
def drawn_now(scope: Scope, rule: SignalRule, subject: str, among: Iterable[Chart] = ()) -> Drawn:
    """One chart of the whole scope with all of it, counted now, whatever is kept of the others.

    It may not have crossed, and is an empty one where it is not watched. `among` are all charts, for the p-value that
    is adjusted for them.
    """
    model = _model_of(rule, subject)
    models = cohorts.catalogue_of({model} - {""})
    of_class = rule == SignalRule.CLASS_SUM
    found = _of_class(scope, subject) if of_class else _of_model(scope, model, models)
    empty = Drawn(_no_chart(rule, subject, models), MonthlyRecord((), (), (), ()), ())
    one = next((one for one in found if one.chart.key == (rule, subject)), empty)
    counts = {**counts_again(among), **counts_of(found)}
    (chart,) = compared([_named(one.chart, models)], counts)
    return replace(one, chart=chart)


@cohorts.at_one_moment()
def crossed_charts_of(scope: Scope, model: str) -> list[Chart]:
    """The charts of one model that crossed, over the whole scope; not those of its class and its lots."""
    models = cohorts.catalogue_of({model})
    charts = [one.chart for one in _of_model(scope, model, models) if one.chart.rule != SignalRule.ONE_LOT]
    return [_named(one, models) for one in charts if one.times]


def _of_model(scope: Scope, model: str, models: Models) -> list[Drawn]:
    """The charts of one model and of its lots."""
    if model not in models:
        return []
    kind = models[model].device_class
    record = summaries.months_of(scope, Filters(), model)
    of_class = None
    if kind != UNKNOWN and baseline_of(summaries.months_of_use(record)) is None:
        of_class = summaries.class_baseline(scope, Filters(), kind)
    return [*charts_of_a_model(model, kind, record, of_class), *lots_of({model: (kind, record)})]


def _of_class(scope: Scope, kind: str) -> list[Drawn]:
    """The chart of all models of a class."""
    if kind in ("", UNKNOWN):
        return []
    records = summaries.months_by_model(scope, Filters(device_class=kind))
    return list(chart_of_a_class(kind, [record for _, record in records.values()]))


def _model_of(rule: SignalRule, subject: str) -> str:
    """The code of the model that a signal is about, empty for a class."""
    return "" if rule == SignalRule.CLASS_SUM else subject.partition(BETWEEN)[0]


def _no_chart(rule: SignalRule, subject: str, models: Models) -> Chart:
    """The chart of a signal that is not watched any more."""
    model = models.get(_model_of(rule, subject))
    kind = subject if rule == SignalRule.CLASS_SUM else model.device_class if model else UNKNOWN
    return _named(Chart(rule, subject, "", kind), models)


def _named(chart: Chart, models: Models) -> Chart:
    if chart.rule == SignalRule.CLASS_SUM:
        return replace(chart, name=named("device_class", chart.subject, "device class"))
    model = models.get(chart.model)
    return replace(chart, name=(model.name if model else "") or chart.model)


def _histories(opened: Key | None) -> dict[Key, tuple[Said, ...]]:
    rows: dict[Key, list[SignalWord]] = {}
    for row in cohorts.signal_words():
        if row.rule in list(SignalRule):
            rows.setdefault((SignalRule(row.rule), row.subject), []).append(row)
    wanted = [row for key, found in rows.items() for row in (found if key == opened else found[-1:])]
    words = {row.pk: said["words"] for row, said in said_in(wanted)}
    return {
        key: tuple(
            Said(row.at, str(row.by), SignalState(row.state), row.crossed, words.get(row.pk, ""))
            for row in found
        )
        for key, found in rows.items()
    }
