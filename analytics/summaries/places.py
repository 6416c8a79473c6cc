"""Where complications lay, and what lay there before them: counts, since how often a place is treated is not known."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence

from analytics import cohorts
from analytics.answers import Reason
from analytics.answers_places import Context, ContextRow, LesionContexts, Place, Places
from analytics.cohorts import Filters, Row, Table
from analytics.summaries.making import left_out_of
from registry.access import Scope
from registry.vocabulary import word_list

NOTHING, NOT_RECORDED, NO_LESION = "nothing", "not_recorded", "no_lesion"


@cohorts.at_one_moment()
def places(scope: Scope, filters: Filters) -> Places:
    """Complications by coronary segment and by place beyond the segments, one in each in which it lay."""
    table = cohorts.places(scope, filters)
    perhaps = sum(row["perhaps_outside"] for row in table)
    return Places(
        segments=_places(table, "segments", "segment"),
        beyond=_places(table, "places", "place"),
        no_place=sum(row["complications"] for row in table if not row["segments"] and not row["places"]),
        complications=sum(row["complications"] for row in table),
        cases=cohorts.cases_of_places(scope, filters),
        left_out=left_out_of({Reason.DATE_PARTLY_KNOWN: perhaps}, "complications"),
    )


def _places(table: Table, column: str, name: str) -> tuple[Place, ...]:
    found: Counter[str] = Counter()
    for row in table:
        for code in set(row[column]):
            found[code] += row["complications"]
    return tuple(Place(code, found[code]) for code in word_list(name).codes if found[code])


def lesion_contexts(scope: Scope, filters: Filters) -> LesionContexts:
    """What lay in the lesion, and how calcified it was, by the situation that a complication began with."""
    table = cohorts.lesions(scope, filters)
    contents, calcification = word_list("lesion_content").codes, word_list("calcification").codes
    return LesionContexts(
        contents=_context(table, [*contents, NOTHING, NOT_RECORDED, NO_LESION], _of_contents),
        calcification=_context(table, [*calcification, NOT_RECORDED, NO_LESION], _of_calcification),
    )


def _of_contents(row: Row) -> Mapping[str, int]:
    if not row["has_lesion"]:
        return {NO_LESION: row["complications"]}
    said = row["contents"] or [NOTHING if row["empty"] else NOT_RECORDED]
    return dict.fromkeys(said, int(row["complications"]))


def _of_calcification(row: Row) -> Mapping[str, int]:
    if not row["has_lesion"]:
        return {NO_LESION: row["complications"]}
    return {row["calcification"] or NOT_RECORDED: row["complications"]}


def _context(table: Table, columns: Sequence[str], read: Callable[[Row], Mapping[str, int]]) -> Context:
    counts: dict[str, Counter[str]] = {}
    whole: Counter[str] = Counter()
    for row in table:
        counts.setdefault(row["situation"], Counter()).update(read(row))
        whole[row["situation"]] += row["complications"]
    totals = Counter[str]()
    for found in counts.values():
        totals.update(found)
    shown = tuple(code for code in columns if totals[code])
    return Context(
        columns=shown,
        rows=tuple(
            ContextRow(situation, tuple(counts[situation][code] for code in shown), whole[situation])
            for situation in _in_order_of_words(counts)
        ),
        totals=tuple(totals[code] for code in shown),
        complications=sum(whole.values()),
        no_lesion=totals[NO_LESION],
    )


def _in_order_of_words(situations: Iterable[str]) -> list[str]:
    order = list(word_list("situation").codes)
    return sorted(situations, key=order.index)
