"""What was tried, considered and met, and what these figures rest on."""

from __future__ import annotations

from analytics import cohorts
from analytics.answers import (
    OF_TECHNIQUES,
    WILSON,
    Answer,
    ConsideredRecord,
    Extent,
    LeftOut,
    Reason,
    SituationRecord,
    TechniqueRecord,
)
from analytics.cohorts import Filters, Reasons, Table
from analytics.statistics.proportions import wilson
from analytics.summaries.making import left_out_of, limits_of
from registry.access import Scope


@cohorts.at_one_moment()
def techniques(scope: Scope, filters: Filters, *, by_attempt: bool = False) -> Answer[TechniqueRecord]:
    """How attempts ended, by technique, situation faced and aim (R2 to R9)."""
    table = cohorts.techniques(scope, filters, by_attempt=by_attempt)
    return techniques_of(table, cohorts.without_acts(scope, filters))


def techniques_of(table: Table, without_acts: Reasons) -> Answer[TechniqueRecord]:
    """The answer from its counts, for a page that has asked for them with others."""
    limits = limits_of(wilson, [row["resolved"] for row in table], [row["attempts"] for row in table])
    unknown = {Reason.RESULT_UNKNOWN: sum(row["unknown"] for row in table)}
    return Answer(
        rows=tuple(
            TechniqueRecord(**{"attempt_in_situation": None, **row}, lower=lower, upper=upper)
            for row, (lower, upper) in zip(table, limits, strict=True)
        ),
        left_out=(*left_out_of(without_acts, "complications"), *left_out_of(unknown, "attempts")),
        method=WILSON,
        cautions=OF_TECHNIQUES,
    )


def situations(scope: Scope, filters: Filters) -> tuple[SituationRecord, ...]:
    """The situations that have records, each with its complications; the one asked about does not narrow them."""
    return tuple(SituationRecord(**row) for row in cohorts.situations(scope, filters))


def left_out_of_techniques(scope: Scope, filters: Filters) -> tuple[LeftOut, ...]:
    """Complications that are in no figure of techniques, and why (R11)."""
    return left_out_of(cohorts.without_acts(scope, filters), "complications")


def extent(scope: Scope, filters: Filters) -> Extent:
    """What the figures of techniques rest on."""
    return Extent(**cohorts.extent(scope, filters))


@cohorts.at_one_moment()
def considered(scope: Scope, filters: Filters) -> Answer[ConsideredRecord]:
    """What was tried and what was declined, by technique and what it was for (R11)."""
    return Answer(
        rows=tuple(ConsideredRecord(**row) for row in cohorts.considered(scope, filters)),
        left_out=left_out_of(cohorts.without_acts(scope, filters), "complications"),
        cautions=("observational",),
    )
