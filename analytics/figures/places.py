"""Where complications lay, as a map with its table, and tables of what lay there. No query."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from analytics.answers_places import Context, LesionContexts, Places
from analytics.charts.figure import Figure
from analytics.charts.places import SIZE, places
from analytics.figures.situations import label_of_situation
from registry.drawings.phrases import counted, named, raised
from registry.vocabulary import word_list

PLACES = "places"
_SAID = {
    "nothing": "Nothing lay in it",
    "not_recorded": "Not recorded",
    "no_lesion": "No lesion recorded",
}


@dataclass(frozen=True, slots=True)
class CrossTable:
    """A table of counts in words: rows with a count for each column and their total, and the totals of the columns.

    Each count stands beside the name of its column, for screens on which a row is read by itself.
    """

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[tuple[str, int], ...], int], ...]
    totals: tuple[tuple[str, int], ...]
    complications: int


def place_lines(answer: Places) -> list[tuple[str, int]]:
    """Places beyond the numbered segments, in words, with their complications; segments without a number last."""
    unnumbered = [one for one in answer.segments if not one.code[:1].isdecimal()]
    return [
        *((raised(named("place", one.code, "place")), one.complications) for one in answer.beyond),
        *((raised(named("segment", one.code, "segment")), one.complications) for one in unnumbered),
    ]


def map_of_places(answer: Places) -> Figure | None:
    """The map, None where no complication lay in a numbered segment or a place beyond."""
    if not answer.segments and not answer.beyond:
        return None
    numbered = {one.code: one.complications for one in answer.segments if one.code[:1].isdecimal()}
    there = counted(answer.complications, "complication", "complications")
    return Figure(
        name=PLACES,
        title="Complications by coronary segment",
        description=f"Of {there}, by segment: {_told(numbered.items())}.",
        size=SIZE,
        content=places(numbered),
        columns=("place", "complications"),
        rows=(
            *((named("segment", code, "segment"), number) for code, number in numbered.items()),
            *place_lines(answer),
            *([("No place recorded", answer.no_place)] if answer.no_place else []),
        ),
        method="counted",
    )


def _told(numbers: Iterable[tuple[str, int]]) -> str:
    return ", ".join(f"{number:,} in segment {code}" for code, number in numbers) or "none"


def cross_tables(answer: LesionContexts) -> list[CrossTable]:
    """What lay in the lesion, and its calcification, by situation."""
    return [
        _crossed("What lay in the lesion", answer.contents, "lesion_content"),
        _crossed("Calcification of the lesion", answer.calcification, "calcification"),
    ]


def _crossed(title: str, found: Context, name: str) -> CrossTable:
    columns = tuple(_column(code, name) for code in found.columns)

    def beside(counts: tuple[int, ...]) -> tuple[tuple[str, int], ...]:
        return tuple(zip(columns, counts, strict=True))

    return CrossTable(
        title=title,
        columns=columns,
        rows=tuple(
            (label_of_situation(row.situation), beside(row.counts), row.complications) for row in found.rows
        ),
        totals=beside(found.totals),
        complications=found.complications,
    )


def _column(code: str, name: str) -> str:
    return _SAID.get(code) or word_list(name)[code].label


def context_rows(answer: LesionContexts) -> Iterator[tuple[str, str, str, int]]:
    """Each cell of the tables: which table, the situation, the column, and how many; noughts too."""
    for name, found in (("contents", answer.contents), ("calcification", answer.calcification)):
        for row in found.rows:
            for column, number in zip(found.columns, row.counts, strict=True):
                yield name, row.situation, column, number
            yield name, row.situation, "complications", row.complications
