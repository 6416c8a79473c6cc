"""Sites beside each other, and an operator beside the others of a site; nobody is put in order of a rate."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from analytics import cohorts
from analytics.answers import LeftOut, Reason
from analytics.answers_sites import (
    FEWEST_OTHERS,
    OneselfAmongOthers,
    OperatorRecord,
    Others,
    SiteRecord,
    Sites,
)
from analytics.cohorts import Filters, Row, Table
from analytics.estimates import PER
from analytics.statistics.counts import garwood
from analytics.statistics.proportions import wilson
from analytics.summaries.funnels import funnel_of
from analytics.summaries.making import left_out_of, limits_of
from registry.access import Scope

_REASONS = {
    "perhaps_outside": Reason.DATE_PARTLY_KNOWN,
    "no_month": Reason.NO_MONTH,
    "no_return": Reason.NO_RETURN,
}


@cohorts.at_one_moment()
def sites(scope: Scope, own: Collection[int], filters: Filters) -> Sites:
    """One's `own` sites (primary keys) among those of the scope, cases with a complication per procedure (R12).

    Others are compared without a name, and only where there are at least five; they stand in the order of their
    procedures, since that of names or rates would tell who they are. PeriodRefused unless the period is of whole
    months.
    """
    rows = cohorts.sites(scope, filters)
    mine = [row for row in rows if row["pk"] in own]
    others = [row for row in rows if row["pk"] not in own]
    comparable = sorted(filter(_can_be_compared, others), key=lambda row: row["procedures"])
    shown = comparable if len(comparable) >= FEWEST_OTHERS else []
    records = _records(mine)
    named = [(one.name, one.cases, one.procedures) for one in records if not one.to_mend]
    unnamed = [("", row["cases"], row["procedures"]) for row in shown]
    return Sites(
        own=records,
        others=_others(others, comparable, shown) if others else None,
        funnel=funnel_of([*named, *unnamed]),
        left_out=_left_out([*mine, *shown]),
    )


def _can_be_compared(row: Row) -> bool:
    return 0 < row["procedures"] >= row["cases"]


def _others(others: Table, comparable: Table, shown: Table) -> Others:
    return Others(
        compared=len(comparable),
        silent=sum(not row["months"] for row in others),
        withdrawn=sum(row["withdrawn"] for row in others),
        shown=bool(shown),
        attempted=sum(row["attempted"] for row in shown),
        out_after_attempt=sum(row["out_after_attempt"] for row in shown),
    )


def _left_out(rows: Table) -> tuple[LeftOut, ...]:
    return left_out_of({reason: sum(row[key] for row in rows) for key, reason in _REASONS.items()}, "cases")


def _records(rows: Table) -> tuple[SiteRecord, ...]:
    rates = limits_of(garwood, [row["cases"] for row in rows], [row["procedures"] for row in rows], PER)
    return tuple(
        SiteRecord(
            code=row["code"],
            name=row["name"],
            months=row["months"],
            last=row["last"],
            procedures=row["procedures"],
            cases=row["cases"],
            lower=lower,
            upper=upper,
            attempted=row["attempted"],
            out_after_attempt=row["out_after_attempt"],
            out_lower=low,
            out_upper=high,
        )
        for row, (lower, upper), (low, high) in zip(rows, rates, _shares(rows), strict=True)
    )


def _shares(rows: Sequence[Row]) -> list[tuple[float | None, float | None]]:
    return limits_of(wilson, [row["out_after_attempt"] for row in rows], [row["attempted"] for row in rows])


def operators(scope: Scope, filters: Filters) -> tuple[OperatorRecord, ...]:
    """The first operators of a scope, by site and staff code: for those who may read their names."""
    rows = cohorts.operators(scope, filters)
    return tuple(
        _operator(row, row["site"], row["code"], row["name"] or "", limits)
        for row, limits in zip(rows, _shares(rows), strict=True)
    )


def oneself(scope: Scope, person: int, filters: Filters) -> OneselfAmongOthers:
    """The account `person` (its key) under all its staff codes, among the unnamed others of its sites."""
    rows = cohorts.operators(scope, filters)
    mine = _together(row for row in rows if row["person"] == person)
    others = [row for row in rows if row["person"] != person and row["attempted"]]
    groups = [("You", mine["out_after_attempt"], mine["attempted"])]
    groups += [("", row["out_after_attempt"], row["attempted"]) for row in others]
    (limits,) = _shares([mine])
    enough = mine["attempted"] and len(others) >= FEWEST_OTHERS
    return OneselfAmongOthers(
        own=_operator(mine, "", "", "", limits),
        others=len(others),
        funnel=funnel_of(sorted(groups, key=lambda one: (not one[0], one[2]))) if enough else None,
    )


_COUNTS = ("cases", "complications", "attempted", "out_after_attempt")


def _together(rows: Iterable[Row]) -> Row:
    found = list(rows)
    return {key: sum(row[key] for row in found) for key in _COUNTS}


def _operator(
    row: Row, site: str, code: str, name: str, limits: tuple[float | None, float | None]
) -> OperatorRecord:
    cases, complications, attempted, out = (int(row[key]) for key in _COUNTS)
    return OperatorRecord(site, code, name, cases, complications, attempted, out, *limits)
