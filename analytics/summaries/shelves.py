"""Tools that were wanted and could not be had: what was done instead, and how it ended."""

from __future__ import annotations

from analytics import cohorts
from analytics.answers_shelves import HowOften, ShoppingList, Wanted, Wish
from analytics.cohorts import Filters, Row, Table
from analytics.statistics.proportions import wilson
from analytics.summaries.making import left_out_of, limits_of
from registry.access import Scope
from registry.vocabulary import word_list


@cohorts.at_one_moment()
def shopping_list(scope: Scope, filters: Filters) -> ShoppingList:
    """Techniques declined for want of a tool, with the complications behind each (R11)."""
    found = cohorts.tools_wanted(scope, filters)
    rows = found.techniques
    limits = limits_of(wilson, [row["out"] for row in rows], [row["ended"] for row in rows])
    newest, how_often = (cohorts.by_value(rows, "technique") for rows in (found.newest, found.how_often))
    listed = [
        _wanted(row, pair, how_often.get(row["technique"], []), newest.get(row["technique"], []))
        for row, pair in zip(rows, limits, strict=True)
    ]
    whole = found.whole[0] if found.whole else {"complications": 0, "cases": 0}
    return ShoppingList(
        rows=tuple(sorted(listed, key=_place)),
        complications=whole["complications"],
        cases=whole["cases"],
        left_out=left_out_of(cohorts.without_acts(scope, filters), "complications"),
    )


def wishes(scope: Scope, filters: Filters) -> list[Wish]:
    """Every option behind the list, the newest first."""
    return [_wish(row) for row in cohorts.wishes(scope, filters)]


def _wish(row: Row) -> Wish:
    return Wish(
        technique=row["technique"],
        reason=row["reason"],
        faced=row["faced"],
        site=row["site"],
        month=row["month"],
        case=row["case"],
        instead=row["instead"],
        cause=row["cause"],
        tried_later=row["later_tried"],
    )


def _wanted(row: Row, limits: tuple[float | None, float | None], how_often: Table, newest: Table) -> Wanted:
    kinds: dict[str, dict[str | None, int]] = {}
    for one in how_often:
        kinds.setdefault(one["kind"], {})[one["name"]] = one["complications"]

    def of(kind: str) -> HowOften:
        return kinds.get(kind, {})

    lower, upper = limits
    return Wanted(
        technique=row["technique"],
        newest=tuple(map(_wish, newest)),
        options=row["options"],
        complications=row["complications"],
        without_size=row["without_size"],
        sites=of("site"),
        faced=of("faced"),
        instead=of("instead"),
        nothing=of("nothing").get(None, 0),
        order_unknown=of("not_known").get(None, 0),
        ended=row["ended"],
        out=row["out"],
        lower=lower,
        upper=upper,
    )


def _place(one: Wanted) -> tuple[int, int]:
    codes = word_list("technique").codes
    return -one.complications, list(codes).index(one.technique) if one.technique else len(codes)
