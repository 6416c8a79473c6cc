"""Shares that add up to a whole, as steps stacked on each other with their names beside them; knows no question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analytics.charts.marks import line, text
from registry.drawings.svg import element

SIZE = (760.0, 430.0)
_LEFT, _RIGHT, _TOP, _BOTTOM = 64.0, 520.0, 20.0, 316.0
_LABEL, _APART = 552.0, 19.0
_MOST_TICKS = 12


@dataclass(frozen=True, slots=True)
class Band:
    """One share at each step, from the bottom up; `class_` is its fill, `label` what stands beside its last step."""

    class_: str
    label: str
    shares: tuple[float, ...]


def stacked(
    steps: Sequence[int],
    bands: Sequence[Band],
    below: Sequence[int],
    *,
    axis: str,
    under: str,
    marks: Sequence[tuple[float, str]],
) -> tuple[str, ...]:
    """The drawing, of `SIZE`: each step holds until the next, and the bands of each add up to 1.

    `axis` names the steps; `under` names the numbers of `below`, which stand under them; `marks` are places on the
    upright axis, from 0 to 1, with their words.
    """
    edges = [_x(number, len(steps)) for number in range(len(steps) + 1)]
    grid = [line(_LEFT, _RIGHT, _y(share), "c-line") for share, _ in marks]
    said = [text(word, _LEFT - 10, _y(share) + 5, "end", "c-soft") for share, word in marks]
    floors = [0.0] * len(steps)
    drawn: list[str] = []
    middles: list[float] = []
    for band in bands:
        roofs = [floor + share for floor, share in zip(floors, band.shares, strict=True)]
        drawn.append(element("path", class_=band.class_, d=_outline(edges, floors, roofs)))
        drawn.append(element("path", class_="c-edge", d=_steps(edges, roofs)))
        middles.append(_y((floors[-1] + roofs[-1]) / 2))
        floors = roofs
    frame = [line(_LEFT, _RIGHT, _BOTTOM, "c-axis")]
    return (*grid, *drawn, *frame, *said, *_labels(bands, middles), *_under(steps, below, edges, axis, under))


def _x(number: int, steps: int) -> float:
    return _LEFT + (_RIGHT - _LEFT) * number / steps


def _y(share: float) -> float:
    return _BOTTOM - (_BOTTOM - _TOP) * share


def _steps(edges: Sequence[float], heights: Sequence[float]) -> str:
    """From left to right at each height as far as its step."""
    places = [
        (x, _y(height))
        for start, end, height in zip(edges, edges[1:], heights, strict=False)
        for x in (start, end)
    ]
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in places)


def _outline(edges: Sequence[float], floors: Sequence[float], roofs: Sequence[float]) -> str:
    back = "L".join(_steps(edges, floors)[1:].split("L")[::-1])
    return f"{_steps(edges, roofs)}L{back}Z"


def _labels(bands: Sequence[Band], middles: Sequence[float]) -> list[str]:
    """Each name beside its band, those of thin bands moved apart, with a line to where the band ends."""
    places: list[float] = []
    for middle in middles:
        places.append(min(middle, places[-1] - _APART) if places else middle)
    too_high = _TOP + 4 - places[-1] if places else 0.0
    if too_high > 0:
        places[-1] += too_high
        for which in range(len(places) - 2, -1, -1):
            places[which] = max(places[which], places[which + 1] + _APART)
    drawn = []
    for band, middle, place in zip(bands, middles, places, strict=True):
        drawn.append(
            element("path", class_="c-axis", d=f"M{_RIGHT + 3:g} {middle:.1f}L{_LABEL - 6:g} {place:.1f}")
        )
        drawn.append(text(band.label, _LABEL, place + 5, "start", "c-word"))
    return drawn


def _under(
    steps: Sequence[int], below: Sequence[int], edges: Sequence[float], axis: str, under: str
) -> list[str]:
    """Under the axis the number of each step, and what counts at it."""
    every = -(-len(steps) // _MOST_TICKS)
    drawn = [
        text(axis, _LEFT, _BOTTOM + 42, "start", "c-soft"),
        text(under, _LEFT, _BOTTOM + 80, "start", "c-soft"),
    ]
    for which in range(0, len(steps), every):
        x = edges[which]
        drawn.append(
            element("line", class_="c-axis", x1=x, x2=x, y1=_BOTTOM, y2=_BOTTOM + 6, stroke_linecap="butt")
        )
        drawn.append(text(f"{steps[which]}", x, _BOTTOM + 22, "middle", "c-word"))
        drawn.append(text(f"{below[which]:,}", x, _BOTTOM + 100, "middle", "c-word"))
    return drawn
