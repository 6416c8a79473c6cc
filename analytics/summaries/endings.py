"""How complications ended, by what they began with and by attempt (R10)."""

from __future__ import annotations

import numpy as np

from analytics import cohorts
from analytics.answers import LEFT_APART, WILSON, Answer, Curve, EndingRecord
from analytics.cohorts import Filters, Reasons, Table
from analytics.statistics.proportions import wilson
from analytics.statistics.sequences import cumulative_incidence
from analytics.summaries.making import left_out_of, limits_of
from registry.access import Scope
from registry.terms import Cause


@cohorts.at_one_moment()
def endings(scope: Scope, filters: Filters) -> Answer[EndingRecord]:
    """How complications ended, by the situation they began with (R10)."""
    table = cohorts.endings(scope, filters)
    limits = limits_of(
        wilson, [row["out_after_attempt"] for row in table], [row["attempted"] for row in table]
    )
    return Answer(
        rows=tuple(
            EndingRecord(**row, lower=lower, upper=upper)
            for row, (lower, upper) in zip(table, limits, strict=True)
        ),
        left_out=left_out_of(cohorts.without_cause(scope, filters), "complications"),
        method=WILSON,
        cautions=("observational",),
    )


@cohorts.at_one_moment()
def curve(scope: Scope, filters: Filters) -> Curve:
    """What had become of complications by the n-th attempt (R10)."""
    return curve_of(cohorts.curve(scope, filters), cohorts.outside_curve(scope, filters))


def curve_of(table: Table, outside: Reasons) -> Curve:
    """The curve from its counts, for a page that has asked for them with others."""
    numbers = [row["number"] for row in table]
    causes = [None if row["cause"] == Cause.CENSORED else row["cause"] for row in table]
    incidence = cumulative_incidence(
        np.repeat(np.array([row["attempts"] for row in table], dtype=np.int64), numbers),
        np.repeat(np.array(causes, dtype=object), numbers),
    )
    found = {(row["attempts"], row["cause"]): row for row in table}

    def by_attempt(cause: str, column: str) -> tuple[int, ...]:
        rows = (found.get((attempt, cause), {}) for attempt in incidence.attempts.tolist())
        return tuple(row.get(column, 0) for row in rows)

    return Curve(
        incidence=incidence,
        ended={str(cause): by_attempt(cause, "number") for cause in Cause},
        left_apart={ending: by_attempt(Cause.LEFT, ending) for ending in LEFT_APART},
        left_out=left_out_of(outside, "complications"),
    )
