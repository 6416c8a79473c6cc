"""The attempts of a situation as one wide table with a picture: every result and every limit in a column. No query."""

from __future__ import annotations

from collections.abc import Sequence

from analytics.answers_techniques import STRATA, Considered, SituationFigures, TechniqueInSituation, in_strata
from analytics.charts.figure import Cell, Figure
from analytics.charts.forest import WIDTH, Shown, forest, height_of
from analytics.figures.techniques import aim_in_words, in_lines
from analytics.figures.words import technique_in_words
from registry.drawings.phrases import counted

ATTEMPTS_BY_TECHNIQUE = "attempts-by-technique"

_COUNTS = (
    *(
        "attempts",
        "resolved",
        "partly",
        "unchanged",
        "worse",
        "not_delivered",
        "stopped_for_safety",
        "unknown",
    ),
    *("resolved_with_injury", "resolved_with_new_complication"),
    *("complications", "complications_resolved", "cases"),
)
_COLUMNS = (
    "technique",
    "aim",
    *(name.replace("_", " ") for name in _COUNTS),
    *("lower, adjusted for cases", "upper, adjusted for cases", "clusters", "design effect"),
    *("lower, Wilson", "upper, Wilson", "lower, exact", "upper, exact"),
    *(column for name in STRATA for column in (f"attempts, {name}", f"resolved, {name}")),
    *("share at the common mix", "lower at the common mix", "upper at the common mix"),
    *("median minutes", "attempts with minutes", "attempts without minutes"),
    *("considered", "tried", "declined", "declined, later tried"),
)


def attempts_by_technique(found: SituationFigures, situation: str) -> Figure | None:
    """A line a technique and aim, in the order of the page; None where nothing was tried."""
    listed = in_lines(found.techniques)
    if not listed:
        return None
    options = {one.technique: one for one in found.considered}
    rows = [_shown(one) for one in listed]
    attempts = sum(one.record.attempts for one in listed)
    return Figure(
        name=ATTEMPTS_BY_TECHNIQUE,
        title=f"{situation}: attempts by technique",
        description=(
            f"Resolved in attempts with limits adjusted for attempts in the same case, {len(listed)} techniques and "
            f"aims, {counted(attempts, 'attempt', 'attempts')}; unadjusted for order. Hollow: fewer than 10 attempts."
        ),
        size=(WIDTH, height_of(rows)),
        content=forest(rows),
        columns=_COLUMNS,
        rows=tuple(_row(one, options.get(one.record.technique)) for one in listed),
        method="clustered_wilson",
    )


def _shown(one: TechniqueInSituation) -> Shown:
    estimate = one.estimate
    return Shown(
        name=f"{technique_in_words(one.record.technique)}, {aim_in_words(one.record.aim)}",
        of=f"{estimate.count:,} of {estimate.total:,}" if estimate.total else "not known",
        drawn=estimate.with_limits,
        few=estimate.few,
    )


def _row(one: TechniqueInSituation, option: Considered | None) -> tuple[Cell, ...]:
    record, adjusted, mixed, took = one.record, one.adjusted, one.standardised, one.minutes
    cells: list[Cell] = [record.technique or "not recorded", record.aim]
    cells += [getattr(record, name) for name in _COUNTS]
    cells += [adjusted.lower, adjusted.upper, adjusted.clusters, adjusted.design_effect]
    cells += [record.lower, record.upper, *adjusted.exact]
    for resolved, attempts in in_strata(one.tries):
        cells += [attempts, resolved]
    cells += [mixed.share, mixed.lower, mixed.upper, took.median, took.known, took.missing]
    options: Sequence[int] = (
        (option.considered, option.tried, option.declined, option.tried_later) if option else (0, 0, 0, 0)
    )
    return (*cells, *options)
