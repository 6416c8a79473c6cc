"""All that the page of one situation shows: techniques by attempt and at a common mix, options, order and endings."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from analytics import cohorts
from analytics.answers import Reason, TechniqueRecord
from analytics.answers_techniques import (
    STRATA,
    Adjusted,
    AttemptOfAim,
    Considered,
    Minutes,
    SituationFigures,
    Standardised,
    Step,
    TechniqueInSituation,
    Try,
    in_strata,
)
from analytics.cohorts import Filters, Table
from analytics.statistics.comparisons import directly_standardised
from analytics.statistics.proportions import clopper_pearson, clustered_wilson_of_sums, wilson
from analytics.summaries.endings import curve_of
from analytics.summaries.making import limits_of
from analytics.summaries.techniques import techniques_of
from registry.access import Scope
from registry.terms import Result

Key = tuple[str | None, str]
"""Technique and aim."""

_OF_ACTS = (
    Reason.DATE_PARTLY_KNOWN,
    Reason.SHORT_RECORD,
    Reason.ACTIONS_NOT_ALL_KNOWN,
    Reason.ACTIONS_NOT_RECORDED,
)
"""Why a complication is in no figure of techniques; the curve leaves these out for the same, and some more."""


@cohorts.at_one_moment()
def situation(scope: Scope, filters: Filters) -> SituationFigures:
    """The figures of the situation that the filters name; each statement is asked once."""
    outside = cohorts.outside_curve(scope, filters)
    without_acts = {reason: number for reason, number in outside.items() if reason in _OF_ACTS}
    whole = techniques_of(cohorts.techniques(scope, filters, by_attempt=False), without_acts)
    in_turn = cohorts.order(scope, filters)
    curve = curve_of(cohorts.curve(scope, filters), outside)
    in_curve = sum(map(sum, curve.ended.values()))
    return SituationFigures(
        techniques=_techniques(whole.rows, cohorts.shared_cases(scope, filters), in_turn),
        by_attempt=_by_attempt(in_turn),
        considered=_considered(cohorts.options(scope, filters)),
        order=_steps(in_turn),
        curve=curve,
        began=in_curve + sum(number for reason, number in outside.items() if reason not in _OF_ACTS),
        left_out=whole.left_out,
    )


def order(scope: Scope, filters: Filters) -> tuple[Step, ...]:
    """What was tried after what in the situation, and how it ended (R7)."""
    return _steps(cohorts.order(scope, filters))


def _steps(in_turn: Table) -> tuple[Step, ...]:
    steps: Counter[tuple[int, str | None, str | None, str | None]] = Counter()
    for row in in_turn:
        steps[row["attempt"], row["technique"], row["then"], row["became"] or None] += row["number"]
    return tuple(Step(*key, complications=number) for key, number in steps.items())


def _techniques(
    whole: Sequence[TechniqueRecord], shared: Table, in_turn: Table
) -> tuple[TechniqueInSituation, ...]:
    by_key: dict[Key, Table] = defaultdict(list)
    for row in in_turn:
        by_key[row["technique"], row["aim"]].append(row)
    tries = {key: _tries(rows) for key, rows in by_key.items()}
    standardised = _standardised(tries)
    found = []
    for one, adjusted in zip(whole, _adjusted(whole, shared), strict=True):
        key = (one.technique, one.aim)
        found.append(
            TechniqueInSituation(one, tries[key], adjusted, standardised[key], _minutes(by_key[key]))
        )
    return tuple(found)


def _tries(rows: Table) -> tuple[Try, ...]:
    """By the number of the attempt in the situation."""
    counts: dict[int, Counter[str]] = defaultdict(Counter)
    for row in rows:
        known = row["result"] != Result.UNKNOWN
        counts[row["attempt"]]["attempts" if known else "unknown"] += row["number"]
        counts[row["attempt"]]["resolved"] += row["number"] * (row["result"] == Result.RESOLVED)
    return tuple(
        Try(attempt, found["attempts"], found["resolved"], found["unknown"])
        for attempt, found in sorted(counts.items())
    )


def _adjusted(whole: Sequence[TechniqueRecord], shared: Table) -> list[Adjusted]:
    """Of each row the sums over its cases: those with one attempt add 1 or 0, the others are known one by one."""
    cases: dict[Key, list[tuple[int, int]]] = defaultdict(list)
    for row in shared:
        cases[row["technique"], row["aim"]].append((row["n"], row["resolved"]))
    sums = np.array([_sums(one, cases[one.technique, one.aim]) for one in whole]).reshape(-1, 5)
    found = clustered_wilson_of_sums(*sums.T)
    exact = limits_of(clopper_pearson, [one.resolved for one in whole], [one.attempts for one in whole])
    lower, upper, effect = (
        [None if np.isnan(one) else float(one) for one in column]
        for column in (found.lower, found.upper, found.design_effect)
    )
    clusters = [int(one) for one in sums[:, 2]]
    return [Adjusted(*row) for row in zip(clusters, lower, upper, effect, exact, strict=True)]


def _sums(one: TechniqueRecord, several: Iterable[tuple[int, int]]) -> tuple[float, ...]:
    """Resolved, attempts, cases, the sum of resolved²/attempts and of attempts² over the cases."""
    listed = list(several)
    among, won = sum(n for n, _ in listed), sum(x for _, x in listed)
    alone, won_alone = one.attempts - among, one.resolved - won
    return (
        one.resolved,
        one.attempts,
        alone + len(listed),
        won_alone + sum(x * x / n for n, x in listed),
        alone + sum(n * n for n, _ in listed),
    )


def _standardised(tries: Mapping[Key, Sequence[Try]]) -> dict[Key, Standardised]:
    """At the mix of all attempts with that aim in the situation by their number."""
    found: dict[Key, Standardised] = {}
    for aim in {aim for _, aim in tries}:
        keys = [key for key in tries if key[1] == aim]
        strata = np.array([in_strata(tries[key]) for key in keys])
        resolved, attempts = strata[..., 0], strata[..., 1]
        weights = attempts.sum(axis=0)
        if not weights.any():
            found |= {key: Standardised(None, None, None, ()) for key in keys}
            continue
        answer = directly_standardised(resolved, attempts, weights)
        for which, key in enumerate(keys):
            missing = tuple(
                name
                for name, of_all, own in zip(STRATA, weights, attempts[which], strict=True)
                if of_all and not own
            )
            numbers = (answer.estimate[which], answer.lower[which], answer.upper[which])
            share, lower, upper = (None if missing else float(one) for one in numbers)
            found[key] = Standardised(share, lower, upper, missing)
    return found


def _by_attempt(in_turn: Table) -> tuple[AttemptOfAim, ...]:
    """Success at each attempt of those made with the same aim, whatever the technique."""
    of_aim: dict[str, Table] = defaultdict(list)
    for row in in_turn:
        of_aim[row["aim"]].append(row)
    listed = [(aim, one) for aim, rows in sorted(of_aim.items()) for one in _tries(rows)]
    limits = limits_of(wilson, [one.resolved for _, one in listed], [one.attempts for _, one in listed])
    return tuple(
        AttemptOfAim(aim, one.number, one.attempts, one.resolved, lower, upper)
        for (aim, one), (lower, upper) in zip(listed, limits, strict=True)
    )


def _minutes(rows: Table) -> Minutes:
    """Of the attempts of known result."""
    known = [row for row in rows if row["result"] != Result.UNKNOWN]
    timed = [row for row in known if row["minutes"] is not None]
    lasted = np.array([float(row["minutes"]) for row in timed for _ in range(row["number"])])
    return Minutes(
        median=float(np.median(lasted)) if timed else None,
        known=lasted.size,
        missing=sum(row["number"] for row in known) - lasted.size,
    )


def _considered(listed: Table) -> tuple[Considered, ...]:
    counts: dict[str | None, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    reasons: dict[str | None, list[tuple[str, int]]] = defaultdict(list)
    for row in listed:
        if row["what"] == "reason":
            reasons[row["technique"]].append((row["why"], row["complications"]))
        else:
            counts[row["technique"]][row["what"]] = row["complications"]
    return tuple(
        Considered(
            technique=technique,
            considered=found["tried"] + found["only_declined"],
            tried=found["tried"],
            declined=found["declined"],
            tried_later=found["tried_later"],
            reasons=tuple(reasons[technique]),
        )
        for technique, found in sorted(counts.items(), key=lambda item: item[0] or "")
    )
