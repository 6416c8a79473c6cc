"""A running sum over months, with its limit and where it crossed; knows no question and no statistics."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from analytics.charts.interval import axis_for
from analytics.charts.marks import line, text
from analytics.charts.months import LEFT, TOP, Letter, Time, lettered, month_names, years
from registry.drawings.svg import element

MOST_DOTS = 400
"""Events that each have a dot: of more, dots would cover each other and the line."""
MOST_SAID = 5
"""Crossings with words beside them, the last ones; all have their ring and their ground."""
_PLOT = 190.0
_FROM_THE_EDGE = 150.0


Turn = tuple[float, float]
"""A time in months from the beginning, and the sum then."""


@dataclass(frozen=True, slots=True)
class Crossed:
    """Where the sum reached its limit: the turn, since which time it had been above 0, and the words beside it."""

    at: float
    value: float
    since: float
    said: str


def running_sum(
    months: Sequence[datetime.date],
    turns: Sequence[Turn],
    events: Sequence[Turn],
    limit: float,
    crossings: Sequence[Crossed],
    letters: Sequence[Letter],
    *,
    said: str,
) -> tuple[tuple[float, float], tuple[str, ...]]:
    """Size and drawing; `events` are the turns that are one, `said` stands under the limit."""
    time = Time(months)
    end, parts = axis_for(max([limit * 1.1, *(value for _, value in turns)]))
    floor = TOP + _PLOT + 14
    scale = _PLOT / end
    drawn = [
        element(
            "rect",
            class_="c-ground",
            x=time.at(one.since),
            y=TOP,
            width=_width(time, one),
            height=floor - TOP,
        )
        for one in crossings
    ]
    drawn += _grid(end, parts, floor, scale, time)
    drawn += lettered(letters, time, floor)
    y = floor - limit * scale
    drawn += [
        line(LEFT, time.end, y, "c-limit"),
        text(f"limit {limit:.2f}", LEFT + 2, y - 7, "start", "c-over"),
    ]
    drawn += [text(said, LEFT + 2, y + 18, "start", "c-over")]
    if turns:
        places = _thinned([(time.at(at), floor - value * scale) for at, value in turns])
        path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in places)
        drawn.append(element("path", class_="c-series", d=path, stroke_linejoin="round"))
    if len(events) <= MOST_DOTS:
        drawn += [
            element("circle", class_="c-dot", cx=time.at(at), cy=floor - value * scale, r=4.5)
            for at, value in events
        ]
    said_from = len(crossings) - MOST_SAID
    for number, one in enumerate(crossings):
        drawn += _crossing(one, time, floor, scale, said=number >= said_from)
    drawn += [*month_names(time, floor + 20), *years(time, floor + 32)]
    return (time.width, floor + 60), tuple(drawn)


def _thinned(places: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Of each unit of width the first, the highest, the lowest and the last place: drawn, they give the same line.

    Source: the reduction of lines by Jugel, Jerzak, Hackenbroich and Markl (2014), Proceedings of the VLDB 7, 797.
    """
    kept: list[tuple[float, float]] = []
    for _, column in groupby(places, key=lambda place: int(place[0])):
        found = list(column)
        numbers = range(len(found))
        ends = {0, len(found) - 1}
        ends |= {min(numbers, key=lambda one: found[one][1]), max(numbers, key=lambda one: found[one][1])}
        kept += [found[one] for one in sorted(ends)]
    return kept


def _width(time: Time, one: Crossed) -> float:
    return max(time.at(one.at) - time.at(one.since), 2.0)


def _grid(end: float, parts: int, floor: float, scale: float, time: Time) -> list[str]:
    drawn = [
        text("The sum", LEFT - 42, floor - _PLOT / 2 - 3, "end", "c-soft"),
        text("at each use", LEFT - 42, floor - _PLOT / 2 + 14, "end", "c-soft"),
    ]
    for which in range(parts + 1):
        value = end * which / parts
        drawn.append(line(LEFT, time.end, floor - value * scale, "c-line" if which else "c-axis"))
        drawn.append(text(f"{value:g}", LEFT - 12, floor - value * scale + 5, "end", "c-soft"))
    return drawn


def _crossing(one: Crossed, time: Time, floor: float, scale: float, *, said: bool) -> list[str]:
    """A ring about the point and, where they are wanted, its words beside it."""
    x, y = time.at(one.at), floor - one.value * scale
    late = x > time.width - _FROM_THE_EDGE
    beside = x - 12 if late else x + 12
    ring = element("circle", class_="c-crossed", cx=x, cy=y, r=9.0)
    words = text(one.said, beside, max(y - 12, TOP - 6), "end" if late else "start", "c-strong")
    return [ring, words] if said else [ring]
