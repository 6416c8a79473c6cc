"""One signal as sentences and as a picture: what crossed which limit, when, how sure that is. No query, no cause."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from analytics.answers_months import ByMonth, Mark, MonthLimit, OverTime, Rule
from analytics.answers_signals import Chart, Crossed, Drawn, Key, SignalRule, Signals
from analytics.charts.figure import Cell, Figure
from analytics.charts.rings import Ring, Rings, rings
from analytics.figures.months import Told, events_by_month, sum_of
from analytics.figures.over_time import sum_in_words
from analytics.figures.signals import (
    RULE_WORDS,
    day_or_month,
    number_word,
    recent_in_words,
    when_of,
)
from analytics.figures.words import run_in_words
from registry.drawings.phrases import counted, raised

SIGNAL_CHART = "signal-chart"
CHARTS_WATCHED = "charts-watched"
_SHARED = ("Baseline", "Since then", "How long it runs", "How sure that is")
Limits = Mapping[datetime.date, tuple[float, int]]
"""What is expected in a month, and the number of events beyond chance."""


def signal_in_words(drawn: Drawn, open_sites: Collection[str]) -> list[tuple[str, str]]:
    """What crossed, when, against which baseline, how sure that is, and what follows; of the last crossing."""
    if not drawn.crossings:
        return []
    chart, last = drawn.chart, drawn.crossings[-1]
    lines = [("What crossed", _what(drawn, last)), ("When", _when(drawn.crossings, open_sites))]
    if drawn.watch is not None:
        shared = dict(sum_in_words(_over_time(drawn, {})))
        kept = _SHARED if chart.rule in (SignalRule.MODEL_SUM, SignalRule.CLASS_SUM) else _SHARED[:2]
        lines += [(term, shared[term]) for term in kept]
    if (recent := recent_in_words(chart)) != "":
        lines.append(
            (
                "The last year alone",
                f"{recent} Both p look at the months that raised the signal, so both are on the bold side.",
            )
        )
    lines += [("How often by chance", said)] if (said := _by_chance(chart)) else []
    return [*lines, ("After a signal", _after(chart))]


def _what(drawn: Drawn, last: Crossed) -> str:
    chart = drawn.chart
    number = f"{raised(number_word(len(last.behind)))} first events"
    if drawn.watch is not None and chart.rule in (SignalRule.MODEL_SUM, SignalRule.CLASS_SUM):
        return (
            "The cumulative sum of first events per use (Bernoulli CUSUM), set to notice "
            f"{drawn.watch.odds_ratio:.2g} times the odds of the baseline, reached {last.value:.2f}; its limit is "
            f"{last.limit:.2f}."
        )
    if chart.rule == SignalRule.SINGLE_MONTH:
        return f"{number} in one month, in which {last.expected or 0:.2g} were expected; its limit is {last.limit:.0f}."
    if chart.rule == SignalRule.CLOSE_TOGETHER:
        return (
            f"{number} within {run_in_words(last.within or 0)}, of a model that is expected to have fewer than one a "
            "year."
        )
    if chart.rule == SignalRule.LAST_MONTHS:
        return f"{number} in the last {_against_all_before(last)}"
    return f"{number} name the lot {chart.lot}. How many of that lot were opened is not recorded, so there is no rate."


def _against_all_before(last: Crossed) -> str:
    events, uses = last.before or (0, 0)
    return (
        f"{run_in_words(last.within or 0)}, twelve recorded months at most; {last.expected or 0:.2g} were expected "
        f"after {events} in {uses:,} uses before them. The limit was {last.limit:.0f} (exact, given how many there "
        "were in all). There are too few events for a baseline, so the earlier months stand for it, with all their "
        "uncertainty."
    )


def _when(crossings: Sequence[Crossed], open_sites: Collection[str]) -> str:
    last, earlier = crossings[-1], crossings[:-1]
    said = f"At the case {'of' if day_or_month(last.event, open_sites)[0].isdigit() else 'in'} "
    said += f"{day_or_month(last.event, open_sites)}."
    if earlier:
        days = ", ".join(when_of(one.event, open_sites) for one in earlier[-5:])
        lately = "lately " if len(earlier) > 5 else ""
        times = "once" if len(earlier) == 1 else f"{len(earlier):,} times"
        said += f" It had crossed {times} before: {lately}{days}."
    return said


def _by_chance(chart: Chart) -> str:
    if chart.rule in (SignalRule.MODEL_SUM, SignalRule.CLASS_SUM):
        return ""
    if chart.rule == SignalRule.ONE_LOT:
        return "Not known: chance alone brings two of one lot together, the more often the larger the lot."
    so_far = float(f"{chart.false_alarms:.2g}")
    return (
        f"Of this chart {so_far:g} false alarms were to be expected since it is watched, though nothing had changed: "
        f"{recurs(chart)}."
    )


def recurs(chart: Chart) -> str:
    """How often chance alone crosses a chart of this kind, by its design."""
    return {
        SignalRule.SINGLE_MONTH: "a month that holds so many or more has a chance of at most 0.00135 (Poisson)",
        SignalRule.CLOSE_TOGETHER: "its window is the widest that chance alone fills about once in 25 years (Naus)",
        SignalRule.LAST_MONTHS: (
            "each look at a month with an event has a chance of at most 0.016, so all looks together cross once in 25 "
            "years at most"
        ),
    }[chart.rule]


def _after(chart: Chart) -> str:
    return {
        SignalRule.MODEL_SUM: f"The sum starts again at 0; it has done so {_times(chart)}.",
        SignalRule.CLASS_SUM: f"The sum starts again at 0; it has done so {_times(chart)}.",
        SignalRule.SINGLE_MONTH: "Each month stands for itself; the next is looked at like any other.",
        SignalRule.CLOSE_TOGETHER: "Each further event is looked at with the two before it.",
        SignalRule.LAST_MONTHS: "The months after it are compared with those before the ones that gave it.",
        SignalRule.ONE_LOT: "Each further first event of the lot is a crossing of its own.",
    }[chart.rule]


def _times(chart: Chart) -> str:
    return counted(chart.times, "time", "times")


def signal_chart(
    drawn: Drawn, limits: Limits, marks: Sequence[Mark], open_sites: Collection[str]
) -> Figure | None:
    """The running sum of a sum, the months of any other rule, with annotations; None of a lot."""
    chart = drawn.chart
    if chart.rule in (SignalRule.MODEL_SUM, SignalRule.CLASS_SUM):
        return _sum(drawn, marks, open_sites)
    if chart.rule == SignalRule.ONE_LOT or not drawn.record.months:
        return None
    figure = events_by_month(_over_time(drawn, limits), marks, chart.name)
    return replace(figure, name=SIGNAL_CHART, method=_method(chart)) if figure else None


def _method(chart: Chart) -> str:
    return {
        SignalRule.SINGLE_MONTH: "garwood",
        SignalRule.CLOSE_TOGETHER: "events_within",
        SignalRule.LAST_MONTHS: "compare_rates",
    }.get(chart.rule, "bernoulli_cusum")


def _over_time(drawn: Drawn, limits: Limits) -> OverTime:
    """The chart as that of a device over time, so that the same is drawn and said; `limits` by month."""
    counts = {one.month: len(one.events) for one in drawn.record.months}
    placed = tuple(
        MonthLimit(limits[month][0], limits[month][1], None, counts[month] >= limits[month][1])
        if month in limits
        else None
        for month in counts
    )
    by_month = ByMonth(Rule.SINGLE_MONTH, None, placed, None, None)
    of_class = bool(drawn.watch and drawn.watch.of_class)
    return OverTime(drawn.record, drawn.record, drawn.chart.baseline, of_class, by_month, drawn.watch, ())


def _sum(drawn: Drawn, marks: Sequence[Mark], open_sites: Collection[str]) -> Figure | None:
    """The sum with each event by its day where its case is open, and by its month else."""
    if drawn.watch is None:
        return None
    return sum_of(
        drawn.watch,
        drawn.record,
        marks,
        drawn.chart.name,
        SIGNAL_CHART,
        Told(
            lambda event: day_or_month(event, open_sites),
            lambda event: when_of(event, open_sites),
            uses=False,
        ),
    )


def charts_watched(found: Signals, this: Key | None = None) -> Figure | None:
    """Every chart as a ring, each that crossed as a disc; None where nothing is watched."""
    kinds: dict[SignalRule, list[Chart]] = {}
    for one in found.watched:
        kinds.setdefault(one.rule, []).append(one)
    if not kinds:
        return None
    groups = [
        Rings(
            f"{RULE_WORDS[rule]}: {len(charts)} watched, {sum(bool(one.times) for one in charts)} crossed",
            [Ring(one.times, one.key == this) for one in charts],
        )
        for rule in SignalRule
        if (charts := kinds.get(rule))
    ]
    size, content = rings(groups)
    return Figure(
        name=CHARTS_WATCHED,
        title="The charts watched: a ring did not cross, a disc did",
        description="; ".join(group.title for group in groups) + ".",
        size=size,
        content=content,
        columns=(
            "chart",
            "of",
            "crossings",
            "false alarms expected",
            "last 12 months",
            "uses",
            "p",
            "adjusted p",
        ),
        rows=tuple(_row(one) for one in found.watched),
        method="benjamini_hochberg",
    )


def _row(one: Chart) -> tuple[Cell, ...]:
    alarms = float(f"{one.false_alarms:.3g}")
    counts: Sequence[Cell] = (None,) * 4
    if one.recent is not None and one.rule in (SignalRule.MODEL_SUM, SignalRule.LAST_MONTHS):
        counts = (one.recent.events, one.recent.uses, one.recent.p, one.recent.adjusted)
    return (RULE_WORDS[one.rule], one.name, one.times, alarms, *counts)
