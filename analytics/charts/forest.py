"""Shares with their limits under each other on one axis from 0 to 1, in the order given; it sorts none by size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analytics.charts.marks import text
from registry.drawings.svg import element

WIDTH = 870.0
_NAME, _OF, _LEFT, _RIGHT, _ROW, _TOP = 8.0, 420.0, 500.0, 840.0, 30.0, 14.0
_TICKS = 4


@dataclass(frozen=True, slots=True)
class Shown:
    """One share by name: `of` says what it is out of; `drawn` is it with its limits, None where there is none."""

    name: str
    of: str
    drawn: tuple[float, float, float] | None
    few: bool


def height_of(rows: Sequence[Shown]) -> float:
    """How high the drawing is."""
    return _TOP + _ROW * len(rows) + 34.0


def forest(rows: Sequence[Shown]) -> tuple[str, ...]:
    """The drawing: a dot on a line, a hollow one on a broken line where it rests on `few`."""
    bottom = _TOP + _ROW * len(rows)
    axis = [
        element("line", class_="c-line", x1=_x(each / _TICKS), x2=_x(each / _TICKS), y1=_TOP, y2=bottom)
        for each in range(_TICKS + 1)
    ]
    numbers = [
        text(f"{100 * each // _TICKS} %", _x(each / _TICKS), bottom + 22, "middle", "c-soft")
        for each in range(_TICKS + 1)
    ]
    drawn = [part for which, row in enumerate(rows) for part in _row(row, _TOP + _ROW * (which + 0.5))]
    return (*axis, *drawn, *numbers)


def _row(row: Shown, y: float) -> list[str]:
    parts = [
        text(row.name, _NAME, y + 5, "start", "c-word"),
        text(row.of, _OF, y + 5, "start", "c-soft"),
    ]
    if row.drawn:
        dot, lower, upper = map(_x, row.drawn)
        line = "c-limit" if row.few else "c-series"
        parts.append(element("line", class_=line, x1=lower, x2=upper, y1=y, y2=y))
        parts.append(element("circle", class_="c-hollow" if row.few else "c-dot", cx=dot, cy=y, r=6.0))
    return parts


def _x(share: float) -> float:
    return _LEFT + (_RIGHT - _LEFT) * share
