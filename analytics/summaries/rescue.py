"""Devices as tools of rescue: attempts in which a model was used, and how many resolved."""

from __future__ import annotations

from analytics import cohorts
from analytics.answers import OF_TECHNIQUES, WILSON, Answer, Reason
from analytics.answers_devices import RescueRecord
from analytics.cohorts import Filters
from analytics.statistics.proportions import wilson
from analytics.summaries.making import left_out_of, limits_of
from registry.access import Scope


@cohorts.at_one_moment()
def rescue_tools(scope: Scope, filters: Filters, *, by_situation: bool = False) -> Answer[RescueRecord]:
    """How attempts ended in which a device model was used, by model and aim (R4 to R6), also by situation faced."""
    table = cohorts.rescue_tools(scope, filters, by_situation=by_situation)
    limits = limits_of(wilson, [row["resolved"] for row in table], [row["attempts"] for row in table])
    unknown = {Reason.RESULT_UNKNOWN: sum(row["unknown"] for row in table)}
    return Answer(
        rows=tuple(
            RescueRecord(**{"situation_faced": None, **row}, lower=lower, upper=upper)
            for row, (lower, upper) in zip(table, limits, strict=True)
        ),
        left_out=(
            *left_out_of(cohorts.without_acts(scope, filters), "complications"),
            *left_out_of(unknown, "attempts"),
        ),
        method=WILSON,
        cautions=OF_TECHNIQUES,
    )
