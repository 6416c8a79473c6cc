"""The last twelve months of each model beside what was usual, with p adjusted over all models. No query."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from analytics.answers_signals import Chart, Drawn, Recent, SignalRule
from analytics.signals.last_months import LAST_MONTHS, before_and_last
from analytics.statistics.counts import compare_rates
from analytics.statistics.multiplicity import benjamini_hochberg

OF_MODELS = (
    SignalRule.MODEL_SUM,
    SignalRule.SINGLE_MONTH,
    SignalRule.CLOSE_TOGETHER,
    SignalRule.LAST_MONTHS,
)
ONE_A_MODEL = (SignalRule.MODEL_SUM, SignalRule.LAST_MONTHS)
"""Every model that is watched has one of these, and no model both."""

Counts = tuple[int, int, int, int]
"""Events and uses of the last twelve recorded months that the baseline does not hold, and of the baseline.

Without a baseline it is all the months before them.
"""


def counts_of(charts: Iterable[Drawn]) -> dict[str, Counts]:
    """By model, of those that can be compared."""
    counted = {one.chart.subject: _counts(one) for one in charts if one.chart.rule in ONE_A_MODEL}
    return {model: counts for model, counts in counted.items() if counts[1] and counts[3]}


def _counts(one: Drawn) -> Counts:
    if one.watch is None:
        before, last = before_and_last(one.record)
        return *last, *before
    months = [month for month in one.record.recorded[-LAST_MONTHS:] if month.month >= one.watch.since]
    usual = one.watch.baseline
    events, uses = sum(len(month.events) for month in months), sum(month.uses or 0 for month in months)
    return events, uses, usual.events, usual.uses


def counts_again(charts: Iterable[Chart]) -> dict[str, Counts]:
    """The counts of charts that are compared already."""
    found = {one.subject: one.recent for one in charts if one.rule in ONE_A_MODEL}
    return {
        model: (one.events, one.uses, one.base_events, one.base_uses)
        for model, one in found.items()
        if one is not None
    }


def compared(charts: Sequence[Chart], counts: Mapping[str, Counts]) -> list[Chart]:
    """The charts, those of models with their last twelve months, adjusted over all models that `counts` has."""
    if not counts:
        return list(charts)
    events, uses, base, base_uses = (list(column) for column in zip(*counts.values(), strict=True))
    p = compare_rates(events, uses, base, base_uses).p_value
    recent = {
        model: Recent(*counted, float(raw), float(adjusted))
        for (model, counted), raw, adjusted in zip(counts.items(), p, benjamini_hochberg(p), strict=True)
    }
    return [replace(one, recent=recent.get(one.subject)) if one.rule in OF_MODELS else one for one in charts]
