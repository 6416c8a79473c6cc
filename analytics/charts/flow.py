"""How things went from column to column: labelled boxes joined by bands as wide as their counts. Knows no question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from registry.drawings.svg import element, words

_BOX, _PITCH, _EDGE, _HEAD = 124.0, 172.0, 2.0, 34.0
_APART, _LINE, _PADDING, _LETTERS = 10.0, 16.0, 6.0, 15
_TALLEST, _WIDEST, _THINNEST = 300.0, 14.0, 2.0


@dataclass(frozen=True, slots=True)
class Box:
    """One place in a column, from 0; an `end` has round corners, as nothing follows it."""

    column: int
    label: str
    count: int
    end: bool


@dataclass(frozen=True, slots=True)
class Band:
    """From one box to another of the next column, both by their place in the list, and how many went so."""

    start: int
    stop: int
    count: int


def flow(
    heads: Sequence[str], boxes: Sequence[Box], bands: Sequence[Band]
) -> tuple[tuple[float, float], tuple[str, ...]]:
    """The size and the drawing; `heads` name the columns, the boxes of a column stand in the order given."""
    unit = min(_TALLEST / max(box.count for box in boxes), _WIDEST)
    texts = [wrap(box.label, _LETTERS) for box in boxes]
    heights = [
        max(box.count * unit, _LINE * (len(text) + 1) + 2 * _PADDING)
        for box, text in zip(boxes, texts, strict=True)
    ]
    tops, bottom = _places(boxes, heights, len(heads))
    titles = [
        element("text", words(head), class_="c-soft", x=_left(column), y=18.0)
        for column, head in enumerate(heads)
    ]
    joined = _bands(boxes, bands, tops, heights, unit)
    drawn = [
        part
        for box, text, top, height in zip(boxes, texts, tops, heights, strict=True)
        for part in _box(box, text, top, height)
    ]
    return (_left(len(heads) - 1) + _BOX + _EDGE, bottom + _EDGE), (*titles, *joined, *drawn)


def _left(column: int) -> float:
    return _EDGE + _PITCH * column


def _places(boxes: Sequence[Box], heights: Sequence[float], columns: int) -> tuple[list[float], float]:
    """The upper edge of each box, those of a column under each other, and the lowest edge of all."""
    free = [_HEAD] * columns
    tops = []
    for box, height in zip(boxes, heights, strict=True):
        tops.append(free[box.column])
        free[box.column] += height + _APART
    return tops, max(free) - _APART


def _bands(
    boxes: Sequence[Box], bands: Sequence[Band], tops: Sequence[float], heights: Sequence[float], unit: float
) -> list[str]:
    """Bands leave and enter each box in the order of the boxes at their other ends, so that few of them cross."""
    out = [_first(box, top, height, unit) for box, top, height in zip(boxes, tops, heights, strict=True)]
    into = list(out)
    drawn = []
    for band in sorted(bands, key=lambda band: (band.start, band.stop)):
        wide = band.count * unit
        drawn.append(
            _band(
                _left(boxes[band.start].column) + _BOX,
                out[band.start],
                _left(boxes[band.stop].column),
                into[band.stop],
                max(wide, _THINNEST),
            )
        )
        out[band.start] += wide
        into[band.stop] += wide
    return drawn


def _first(box: Box, top: float, height: float, unit: float) -> float:
    """Where the first band of a box begins, all of them in its middle."""
    return top + (height - box.count * unit) / 2


def _band(x1: float, y1: float, x2: float, y2: float, wide: float) -> str:
    middle = (x1 + x2) / 2
    return element(
        "path",
        class_="c-flow",
        d=(
            f"M{x1:.1f} {y1:.1f}C{middle:.1f} {y1:.1f} {middle:.1f} {y2:.1f} {x2:.1f} {y2:.1f}V{y2 + wide:.1f}"
            f"C{middle:.1f} {y2 + wide:.1f} {middle:.1f} {y1 + wide:.1f} {x1:.1f} {y1 + wide:.1f}Z"
        ),
    )


def _box(box: Box, text: Sequence[str], top: float, height: float) -> list[str]:
    x = _left(box.column)
    frame = element(
        "rect",
        class_="c-band" if box.end else "c-ground",
        x=x,
        y=top,
        width=_BOX,
        height=height,
        rx=16.0 if box.end else 3.0,
    )
    first = top + height / 2 - _LINE * len(text) / 2 + 5
    lines = [
        element("text", words(line), class_="c-word", x=x + 8, y=first + _LINE * (which + 1))
        for which, line in enumerate(text)
    ]
    return [frame, element("text", f"{box.count:,}", class_="c-strong", x=x + 8, y=first), *lines]
