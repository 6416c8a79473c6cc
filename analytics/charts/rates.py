"""Dots with intervals of a whole page on one axis, in the order of the page, with their table. Knows no question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analytics.charts.figure import Cell, Figure
from registry.drawings.svg import element, words

LEFT, PLOT, RIGHT, ROW, TOP, GAP = 300.0, 420.0, 240.0, 26.0, 44.0, 14.0
WIDTH = LEFT + PLOT + RIGHT
_LONGEST = 38


@dataclass(frozen=True, slots=True)
class RateRow:
    """One line: a heading where it has no `record`, else a name, what stands in words, and what is drawn, if anything.

    `drawn` is the rate with its limits; `none_seen` draws the upper limit alone, `few` a hollow dot on a broken line.
    """

    name: str
    said: str = ""
    record: tuple[Cell, ...] = ()
    drawn: tuple[float, float, float] | None = None
    none_seen: bool = False
    few: bool = False


def rates_figure(
    figure: tuple[str, str, str], columns: tuple[str, ...], rows: Sequence[RateRow], axis: tuple[float, int]
) -> Figure:
    """All rows on one axis; `figure` is name, title and description, `axis` its end and its equal parts."""
    name, title, description = figure
    end, parts = axis
    place, content = TOP, []
    for row in rows:
        if not row.record:
            place += GAP
        content += _row(row, place, end)
        place += ROW
    grid = [_line("c-line", (_x(end * which / parts, end), TOP - 14), place) for which in range(parts + 1)]
    numbers = [
        _text("c-soft", _x(end * which / parts, end), TOP - 20, f"{end * which / parts:g}", "middle")
        for which in range(parts + 1)
    ]
    return Figure(
        name=name,
        title=title,
        description=description,
        size=(WIDTH, place + 12),
        content=(*grid, *numbers, *content),
        columns=columns,
        rows=tuple(row.record for row in rows if row.record),
        method="garwood",
    )


def _row(row: RateRow, top: float, end: float) -> list[str]:
    middle = top + ROW / 2
    if not row.record:
        return [_text("c-strong", 8.0, middle + 5, row.name)]
    found = [_text("c-word", 20.0, middle + 5, _cut(row.name))]
    found.append(_text("c-soft", LEFT + PLOT + 16, middle + 5, row.said))
    if row.drawn is None:
        return found
    rate, lower, upper = row.drawn
    start, stop = _x(0.0 if row.none_seen else lower, end), _x(upper, end)
    broken = "6 5" if row.few or row.none_seen else None
    found.append(
        element("line", class_="c-series", x1=start, x2=stop, y1=middle, y2=middle, stroke_dasharray=broken)
    )
    if upper > end:
        tip = f"M{stop:g} {middle - 5:g}L{stop + 7:g} {middle:g}L{stop:g} {middle + 5:g}"
        found.append(element("path", class_="c-series", d=tip))
    elif row.none_seen:
        found.append(element("line", class_="c-series", x1=stop, x2=stop, y1=middle - 7, y2=middle + 7))
    if rate <= end and not row.none_seen:
        dot = "c-hollow" if row.few else "c-dot"
        found.append(element("circle", class_=dot, cx=_x(rate, end), cy=middle, r=5.0))
    return found


def _x(value: float, end: float) -> float:
    return LEFT + min(value / end, 1.0) * PLOT


def _cut(name: str) -> str:
    return name if len(name) <= _LONGEST else f"{name[: _LONGEST - 1]}…"


def _line(class_: str, start: tuple[float, float], bottom: float) -> str:
    x, top = start
    return element("line", class_=class_, x1=x, x2=x, y1=top, y2=bottom)


def _text(class_: str, x: float, y: float, text: str, anchor: str | None = None) -> str:
    return element("text", words(text), class_=class_, x=x, y=y, text_anchor=anchor)
