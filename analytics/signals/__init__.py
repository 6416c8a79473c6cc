"""Which charts of devices are watched over the sites, and which crossed their limit; a signal asks for a review.

No query of its own, nothing causal. A signal is named by its rule and its subject: a model, a class, or a lot of one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from analytics import cohorts, summaries
from analytics.answers_months import MonthlyRecord
from analytics.answers_signals import BETWEEN, Chart, Recent, Said, Signal, SignalRule, Signals, newest_first
from analytics.cohorts import Filters
from analytics.models import SignalWord
from analytics.recording import said_in
from analytics.signals.charts import Records, charts_of, charts_of_a_model, lots_of
from analytics.signals.last_months import LAST_MONTHS, before_and_last
from analytics.statistics.counts import compare_rates
from analytics.statistics.multiplicity import benjamini_hochberg
from registry.access import Scope
from registry.drawings.phrases import named
from registry.terms import UNKNOWN, SignalState

OF_MODELS = (
    SignalRule.MODEL_SUM,
    SignalRule.SINGLE_MONTH,
    SignalRule.CLOSE_TOGETHER,
    SignalRule.LAST_MONTHS,
)
ONE_A_MODEL = (SignalRule.MODEL_SUM, SignalRule.LAST_MONTHS)
"""Every model that is watched has one of these, and no model both."""


@cohorts.at_one_moment()
def signals(scope: Scope, filters: Filters, opened: tuple[SignalRule, str] | None = None) -> Signals:
    """All charts and signals of the scope; of the signal `opened` all words are opened, of others the last.

    PeriodRefused unless the period is of whole months.
    """
    records = summaries.months_by_model(scope, filters)
    charts = _compared([*charts_of(records), *lots_of(records)])
    histories = _histories(opened)
    names = {model: one.name for model, one in cohorts.catalogue_of(_named(charts, histories)).items()}
    charts = [replace(one, name=_name(one, names)) for one in charts]
    crossed = [Signal(one, histories.pop((one.rule, one.subject), ())) for one in charts if one.crossings]
    gone = [
        Signal(_chart_without(rule, subject, charts, records, names), said)
        for (rule, subject), said in histories.items()
    ]
    wanted = filters.device_class
    withdrawn = [one for one in gone if wanted is None or one.chart.device_class == wanted]
    watched = {one.subject for one in charts if one.rule in ONE_A_MODEL}
    unwatched = sum(model not in watched and record.uses > 0 for model, (_, record) in records.items())
    return Signals(tuple(charts), newest_first(crossed), newest_first(withdrawn), unwatched)


@cohorts.at_one_moment()
def crossed_charts_of(scope: Scope, model: str, device_class: str, name: str) -> list[Chart]:
    """The charts of one model that crossed, over the whole scope; not those of its class and its lots."""
    record = summaries.months_of(scope, Filters(), model)
    known = device_class != UNKNOWN
    of_class = summaries.class_baseline(scope, Filters(), device_class) if known else None
    charts = charts_of_a_model(model, device_class, record, of_class)
    return [replace(one, name=name) for one in charts if one.crossings]


def _named(charts: Iterable[Chart], histories: Iterable[tuple[SignalRule, str]]) -> set[str]:
    spoken_of = {subject.partition(BETWEEN)[0] for rule, subject in histories if rule != SignalRule.CLASS_SUM}
    return {one.model for one in charts if one.model} | spoken_of


def _name(chart: Chart, names: Mapping[str, str]) -> str:
    if chart.rule == SignalRule.CLASS_SUM:
        return named("device_class", chart.subject, "device class")
    return names.get(chart.model) or chart.model


def _compared(charts: Sequence[Chart]) -> list[Chart]:
    """The last twelve months of each model against its baseline, or all before, adjusted over all models."""
    counts = {one.subject: found for one in charts if (found := _recent(one)) is not None}
    if not counts:
        return list(charts)
    events, uses, base, base_uses = (list(column) for column in zip(*counts.values(), strict=True))
    p = compare_rates(events, uses, base, base_uses).p_value
    recent = {
        model: Recent(*counted, float(raw), float(adjusted))
        for (model, counted), raw, adjusted in zip(counts.items(), p, benjamini_hochberg(p), strict=True)
    }
    return [replace(one, recent=recent.get(one.subject)) if one.rule in OF_MODELS else one for one in charts]


def _recent(chart: Chart) -> tuple[int, int, int, int] | None:
    """Events and uses of the last twelve recorded months that the baseline does not hold, and of the baseline.

    Without a baseline it is all the months before them.
    """
    if chart.rule not in ONE_A_MODEL:
        return None
    if chart.watch is None:
        before, last = before_and_last(chart.record)
        found = (*last, *before)
    else:
        months = [one for one in chart.record.recorded[-LAST_MONTHS:] if one.month >= chart.watch.since]
        usual = chart.watch.baseline
        events, uses = sum(len(one.events) for one in months), sum(one.uses or 0 for one in months)
        found = (events, uses, usual.events, usual.uses)
    return found if found[1] and found[3] else None


def _histories(opened: tuple[SignalRule, str] | None) -> dict[tuple[SignalRule, str], tuple[Said, ...]]:
    rows: dict[tuple[SignalRule, str], list[SignalWord]] = {}
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


def _chart_without(
    rule: SignalRule, subject: str, charts: Iterable[Chart], records: Records, names: Mapping[str, str]
) -> Chart:
    """The chart of a signal that does not cross any more; an empty one where it is not watched any more either."""
    for one in charts:
        if (one.rule, one.subject) == (rule, subject):
            return one
    model = subject.partition(BETWEEN)[0]
    kind = subject if rule == SignalRule.CLASS_SUM else records[model][0] if model in records else UNKNOWN
    empty = Chart(rule, subject, "", kind, MonthlyRecord((), (), (), ()), ())
    return replace(empty, name=_name(empty, names))
