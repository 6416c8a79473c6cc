"""Charts that are watched as rings, those that crossed as discs with a word under them; knows no question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analytics.charts.marks import text
from registry.drawings.svg import element

_LEFT, _STEP, _ROW, _TOP = 14.0, 20.0, 30.0, 10.0
_RADIUS = 6.0
_A_ROW = 50
_WIDE = _LEFT * 2 + _STEP * _A_ROW


@dataclass(frozen=True, slots=True)
class Ring:
    """One chart: whether it crossed, how often, and whether it is the one that the page is about."""

    crossed: int
    this: bool = False


@dataclass(frozen=True, slots=True)
class Rings:
    """The charts of one kind, with what they are called."""

    title: str
    rings: Sequence[Ring]


def rings(groups: Sequence[Rings]) -> tuple[tuple[float, float], tuple[str, ...]]:
    """Size and drawing: a line of words for each kind, its charts under it, fifty in a row."""
    drawn: list[str] = []
    y = _TOP
    for group in groups:
        y += 12
        drawn.append(text(group.title, _LEFT - _RADIUS, y, "start", "c-word"))
        y += 8
        for which, one in enumerate(group.rings):
            x = _LEFT + _STEP * (which % _A_ROW)
            if which % _A_ROW == 0:
                y += 14 if which == 0 else _ROW
            drawn += _ring(one, x, y)
        y += 34 if any(one.this for one in group.rings) else 20
    return (_WIDE, y), tuple(drawn)


def _ring(one: Ring, x: float, y: float) -> list[str]:
    if not one.crossed:
        return [element("circle", class_="c-axis", cx=x, cy=y, r=_RADIUS)]
    drawn = [element("circle", class_="c-dot", cx=x, cy=y, r=_RADIUS)]
    if one.this:
        drawn.append(element("circle", class_="c-crossed", cx=x, cy=y, r=_RADIUS + 4))
        drawn.append(text("this one", x, y + 24, "middle" if x > 40 else "start", "c-strong"))
    return drawn
