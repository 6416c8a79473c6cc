"""Months in a row with a mark for each event, what is under them and lettered lines; the scale of time of other charts.

Knows no question and no statistics: places, counts and words come in.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from analytics.charts.marks import line, text
from registry.drawings.svg import element

LEFT, RIGHT, TOP = 132.0, 24.0, 52.0
NARROWEST, WIDEST, USUAL = 19.0, 76.0, 1080.0
_PLOT = 150.0
_UNIT, _LEAST_UNIT = 30.0, 9.0
_MOST_MARKS = 40
"""Where a month has more, a bar stands for them: so many marks on each other are not counted by eye."""
_BESIDE = 24.0
_MOST_DIGITS_BESIDE = 3
"""Counts of so many digits leave no room beside them for what they count, which then stands above."""
_CHARACTER, _MOST_CHARACTERS = 7.6, 9


@dataclass(frozen=True, slots=True)
class Column:
    """One month: how many events, how many left out, what stands under it, and its limits in events.

    `silent` months have no number of uses. `upper` is the smallest count beyond the limit, `lower` the largest.
    `ringed` are places of marks, from 1 at the bottom, that stand out among the others.
    """

    month: datetime.date
    events: int
    left_out: int
    under: str
    silent: bool = False
    upper: int | None = None
    lower: int | None = None
    centre: float | None = None
    beyond: bool = False
    ringed: frozenset[int] = frozenset()

    @property
    def marks(self) -> int:
        """How many marks stand on each other."""
        return self.events + self.left_out


@dataclass(frozen=True, slots=True)
class Letter:
    """A lettered line at a day."""

    letter: str
    day: datetime.date


class Time:
    """Where days lie on charts of months side by side."""

    def __init__(self, months: Sequence[datetime.date], under: Iterable[str] = ()) -> None:
        self.months = months
        longest = min(max(map(len, under), default=0), _MOST_CHARACTERS) * _CHARACTER + 6
        least = max(NARROWEST, longest / 2)
        self.step = min(max((USUAL - LEFT - RIGHT) / max(len(months), 1), least), WIDEST)
        self.rows = 2 if longest > self.step else 1
        """In how many rows, in turn, what stands under the months has room."""

    @property
    def width(self) -> float:
        return max(LEFT + RIGHT + self.step * len(self.months), USUAL * 0.6)

    @property
    def end(self) -> float:
        return LEFT + self.step * len(self.months)

    def at(self, months: float) -> float:
        """So many months after the first began."""
        return LEFT + self.step * months

    def middle(self, which: int) -> float:
        return self.at(which + 0.5)

    def of(self, day: datetime.date) -> float | None:
        """A day, each month being as long as any other; None outside."""
        first = self.months[0]
        which = 12 * (day.year - first.year) + day.month - first.month
        return self.at(which + (day.day - 0.5) / 31) if 0 <= which < len(self.months) else None


def by_month(
    columns: Sequence[Column],
    letters: Sequence[Letter],
    *,
    counted: str,
    said: str,
    below: Sequence[str],
    under: str,
) -> tuple[tuple[float, float], tuple[str, ...]]:
    """Size and drawing. `counted` names the marks, `under` the numbers below them.

    `said` stands at the limit, or at the upper one; `below` at the lower one, in lines, where there is one.
    """
    time = Time([one.month for one in columns], [one.under for one in columns])
    most = max(one.marks for one in columns)
    highest = max(2, most, *(one.upper or 0 for one in columns))
    as_bars = most > _MOST_MARKS
    unit = _PLOT / highest if as_bars else min(max(_PLOT / highest, _LEAST_UNIT), _UNIT)
    floor = TOP + unit * highest + 14
    drawn = [*_silent(columns, time, floor), *_counts(highest, unit, floor, time, counted)]
    drawn += _limits(columns, time, unit, floor, said)
    drawn += lettered(letters, time, floor)
    drawn += _below(columns, time, unit, floor, below)
    for which, one in enumerate(columns):
        x = time.middle(which)
        drawn += _bar(one, x, time.step, unit, floor) if as_bars else _marks(one, x, unit, floor)
    drawn += month_names(time, floor + 20)
    drawn += [text(under, LEFT - 12, floor + 40, "end", "c-soft")]
    drawn += [
        text(
            one.under,
            time.middle(which),
            floor + 40 + 18 * (which % time.rows),
            "middle",
            "c-soft" if one.silent else "c-word",
        )
        for which, one in enumerate(columns)
    ]
    bottom = floor + 34 + 18 * time.rows
    drawn += years(time, bottom)
    width = time.width
    if below and _last_lower(columns) is not None:
        width = max(width, time.end + _BESIDE + _CHARACTER * max(map(len, below)))
    return (width, bottom + 28), tuple(drawn)


def _silent(columns: Sequence[Column], time: Time, floor: float) -> list[str]:
    """The ground of months without a number of uses."""
    return [
        element("rect", class_="c-band", x=time.at(which), y=TOP, width=time.step, height=floor - TOP)
        for which, one in enumerate(columns)
        if one.silent
    ]


def _counts(highest: int, unit: float, floor: float, time: Time, counted: str) -> list[str]:
    every = _step(highest)
    beside = len(f"{highest:,}") < _MOST_DIGITS_BESIDE
    x, y = (LEFT - 34, floor - unit * highest / 2 - 3) if beside else (LEFT - 12, TOP - 26)
    drawn = [text(counted, x, y, "end", "c-soft"), text("in the month", x, y + 17, "end", "c-soft")]
    for count in range(0, highest + 1, every):
        y = floor - unit * count
        drawn.append(line(LEFT, time.end, y, "c-line" if count else "c-axis"))
        drawn.append(text(f"{count:,}", LEFT - 12, y + 5, "end", "c-soft"))
    return drawn


def _step(highest: int) -> int:
    """1, 2 or 5 times a power of ten, such that there are at most five steps."""
    power = 1
    while True:
        for one in (power, 2 * power, 5 * power):
            if 5 * one >= highest:
                return one
        power *= 10


def _marks(one: Column, x: float, unit: float, floor: float) -> list[str]:
    """A disc an event on a stem, then a hollow one for each left out; the last of a month beyond its limit is ringed.

    A broken ring is about each mark that stands out.
    """
    radius = min(7.0, unit / 2 - 1)
    drawn = []
    if one.marks:
        top = floor - unit * one.marks
        drawn.append(element("line", class_="c-series", x1=x, x2=x, y1=floor, y2=top))
    for number in range(1, one.marks + 1):
        class_ = "c-dot" if number <= one.events else "c-hollow"
        drawn.append(element("circle", class_=class_, cx=x, cy=floor - unit * number, r=radius))
    drawn += [
        element(
            "circle",
            class_="c-crossed",
            cx=x,
            cy=floor - unit * number,
            r=radius + 3,
            stroke_dasharray="3 2.5",
        )
        for number in sorted(one.ringed)
    ]
    if one.beyond:
        y = floor - unit * one.events
        drawn.append(element("circle", class_="c-crossed", cx=x, cy=y, r=radius + 6))
    return drawn


def _bar(one: Column, x: float, step: float, unit: float, floor: float) -> list[str]:
    """The same as a bar, what is left out of rates on top of it, hollow."""
    width = min(step * 0.6, 28.0)
    parts = (("c-dot", 0, one.events), ("c-hollow", one.events, one.left_out))
    drawn = [
        element(
            "rect",
            class_=class_,
            x=x - width / 2,
            y=floor - unit * (below + number),
            width=width,
            height=unit * number,
        )
        for class_, below, number in parts
        if number
    ]
    if one.beyond:
        drawn.append(element("circle", class_="c-crossed", cx=x, cy=floor - unit * one.events, r=11.0))
    return drawn


def _last_lower(columns: Sequence[Column]) -> int | None:
    """The lower limit nearest to the end, None where there is none above 0."""
    return next((one.lower for one in reversed(columns) if one.lower), None)


def _below(
    columns: Sequence[Column], time: Time, unit: float, floor: float, said: Sequence[str]
) -> list[str]:
    """What stands at the lower limit, beside the last month, where no mark lies over it."""
    lower = _last_lower(columns)
    if lower is None:
        return []
    top = floor - unit * lower - 9 * len(said) + 14
    return [
        text(words, time.end + 8, top + 18 * which, "start", "c-word") for which, words in enumerate(said)
    ]


def _limits(columns: Sequence[Column], time: Time, unit: float, floor: float, said: str) -> list[str]:
    """Steps at the smallest count beyond the limit, at the largest below the lower one, and at what is expected."""
    drawn: list[str] = []
    for class_, values in (
        ("c-axis", [one.centre for one in columns]),
        ("c-limit", [one.lower or None for one in columns]),
        ("c-limit", [one.upper for one in columns]),
    ):
        path = _steps(values, time, unit, floor)
        if path:
            drawn.append(element("path", class_=class_, d=path))
    first = next((which for which, one in enumerate(columns) if one.upper is not None), None)
    if first is not None:
        highest = max(one.upper or 0 for one in columns[first : first + 8])
        # Among bars there is no room at the limit itself.
        y = TOP - 9 if any(one.marks > _MOST_MARKS for one in columns) else floor - unit * highest - 6
        drawn.append(text(said, time.at(first), y, "start", "c-word"))
    return drawn


def _steps(values: Sequence[float | None], time: Time, unit: float, floor: float) -> str:
    written, before = "", False
    for which, value in enumerate(values):
        if value is not None:
            y = floor - unit * value
            start = f"{'L' if before else 'M'}{time.at(which):.1f} {y:.1f}"
            written += f"{start}L{time.at(which + 1):.1f} {y:.1f}"
        before = value is not None
    return written


def lettered(letters: Sequence[Letter], time: Time, floor: float) -> list[str]:
    """A dotted line at each day with its letter in a box above; boxes that would lie on each other stand apart."""
    drawn: list[str] = []
    last = -math.inf
    for one in sorted(letters, key=lambda one: (one.day, one.letter)):
        x = time.of(one.day)
        if x is None:
            continue
        box = max(x, last + 24)
        last = box
        drawn += [
            element(
                "path",
                class_="c-axis",
                d=f"M{box:.1f} 24L{x:.1f} 34L{x:.1f} {floor:.1f}",
                stroke_dasharray="2 3",
            ),
            element("rect", class_="c-box", x=box - 10, y=4.0, width=20.0, height=20.0, rx=3.0),
            text(one.letter, box, 19.0, "middle", "c-strong"),
        ]
    return drawn


def month_names(time: Time, y: float) -> list[str]:
    """The first letter of each month in the middle of it."""
    return [
        text(f"{month:%B}"[0], time.middle(which), y, "middle", "c-word")
        for which, month in enumerate(time.months)
    ]


def years(time: Time, y: float) -> list[str]:
    """A line under the months of each year with its number."""
    drawn: list[str] = []
    for year in dict.fromkeys(month.year for month in time.months):
        found = [which for which, month in enumerate(time.months) if month.year == year]
        drawn.append(line(time.at(found[0]) + 4, time.at(found[-1] + 1) - 4, y, "c-axis"))
        drawn.append(
            text(str(year), (time.at(found[0]) + time.at(found[-1] + 1)) / 2, y + 17, "middle", "c-soft")
        )
    return drawn
