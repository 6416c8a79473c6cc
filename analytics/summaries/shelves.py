"""Tools that were wanted and could not be had: what was done instead, and how it ended."""

from __future__ import annotations

from collections.abc import Sequence

from analytics import cohorts
from analytics.answers_shelves import ShoppingList, Wanted, Wish
from analytics.cohorts import Filters, Row, Table
from analytics.statistics.proportions import wilson
from analytics.summaries.making import left_out_of, limits_of
from registry.access import Scope
from registry.terms import Cause
from registry.vocabulary import word_list


@cohorts.at_one_moment()
def shopping_list(scope: Scope, filters: Filters) -> ShoppingList:
    """Techniques declined for want of a tool, with the complications behind each (R11)."""
    options = cohorts.wanted(scope, filters)
    acts = _by_complication(cohorts.followed(scope, filters)) if options else {}
    wishes: dict[str | None, list[Wish]] = {}
    for row in options:
        wishes.setdefault(row["technique"], []).append(_wish(row, acts.get(row["complication"], [])))
    ended = [_ended(found) for found in wishes.values()]
    limits = limits_of(wilson, [out for _, out in ended], [number for number, _ in ended])
    rows = [
        _wanted(technique, found, *counts, *pair)
        for (technique, found), counts, pair in zip(wishes.items(), ended, limits, strict=True)
    ]
    return ShoppingList(
        rows=tuple(sorted(rows, key=_place)),
        complications=len({row["complication"] for row in options}),
        cases=len({row["code"] for row in options}),
        left_out=left_out_of(cohorts.without_acts(scope, filters), "complications"),
    )


def _by_complication(acts: Table) -> dict[int, Table]:
    found: dict[int, Table] = {}
    for act in acts:
        found.setdefault(act["complication"], []).append(act)
    return found


def _wish(row: Row, acts: Sequence[Row]) -> Wish:
    return Wish(
        technique=row["technique"],
        reason=row["reason"],
        faced=row["faced"],
        site=row["site_name"],
        month=row["month"],
        case=row["code"],
        complication=row["complication"],
        instead=_instead(row, acts),
        cause=row["cause"],
        tried_later=row["later_tried"],
    )


def _instead(row: Row, acts: Sequence[Row]) -> tuple[str | None, ...] | None:
    after = row["after_position"]
    if after is None:
        return None
    later = (act["technique"] for act in acts if act["position"] > after)
    return tuple(dict.fromkeys(one for one in later if one != row["technique"]))


def _ended(wishes: Sequence[Wish]) -> tuple[int, int]:
    """How many of the complications have an end with a cause, and how many of these came out."""
    causes = {one.complication: one.cause for one in wishes}
    seen = [cause for cause in causes.values() if cause not in (None, Cause.CENSORED)]
    return len(seen), seen.count(Cause.OUT)


def _wanted(
    technique: str | None,
    wishes: Sequence[Wish],
    ended: int,
    out: int,
    lower: float | None,
    upper: float | None,
) -> Wanted:
    words = word_list("technique")
    complications = {one.complication for one in wishes}
    absent = {one.complication for one in wishes if one.reason == cohorts.NOT_ON_SHELF}
    return Wanted(
        technique=technique,
        devices=tuple(words[technique].properties.get("devices", ())) if technique else (),
        wishes=tuple(wishes),
        complications=len(complications),
        without_size=len(complications - absent),
        ended=ended,
        out=out,
        lower=lower,
        upper=upper,
    )


def _place(one: Wanted) -> tuple[int, int]:
    codes = word_list("technique").codes
    return -one.complications, list(codes).index(one.technique) if one.technique else len(codes)
