"""Counts on the plan of the coronary tree: a disc on each segment, its area by the count, the number in it.

Knows no question, and its only arithmetic is that of scales.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise

from analytics.charts.marks import shortened, text
from registry.drawings.coronary_plan import AORTA, COURSES, HEIGHT, WIDTH, Course
from registry.drawings.lettering import width
from registry.drawings.svg import element

_SCALE = 1.9
SIZE = (WIDTH * _SCALE, HEIGHT * _SCALE + 12)
_LARGEST, _SMALLEST = 23.0, 11.0
_CLEAR = 13.0
"""From the edge of a disc to the middle of the number of its segment, at least."""
_LETTER = 8.0
_SIZE_OF_LETTERS, _HEIGHT_OF_DIGITS = 14.0, 10.0
_IN_THOUSANDS = 10_000
"""Counts from which on a disc has thousands in it: whole, their discs would lie on each other."""


def places(counts: Mapping[str, int]) -> tuple[str, ...]:
    """The drawing, of `SIZE`; codes that are no numbered segment are passed over."""
    drawn = {code: number for code, number in counts.items() if code in COURSES and number}
    most = max(drawn.values(), default=1)
    x, y, radius = (_SCALE * one for one in AORTA)
    return (
        element("circle", class_="c-vessel", cx=x, cy=y, r=radius, stroke_width=5),
        text("aorta", x, y + 5, "middle", "c-soft"),
        *(_vessel(course) for course in COURSES.values()),
        *(_number(code, course, drawn.get(code, 0), most) for code, course in COURSES.items()),
        *(part for code, number in drawn.items() for part in _disc(COURSES[code], number, most)),
    )


def _vessel(course: Course) -> str:
    path = "L".join(f"{x * _SCALE:.1f} {y * _SCALE:.1f}" for x, y in course.points)
    return element(
        "path", class_="c-vessel", d=f"M{path}", stroke_width=course.stroke * 1.5, stroke_linejoin="round"
    )


def _number(code: str, course: Course, count: int, most: int) -> str:
    """The segment's number, strong and beyond the edge of the disc where something happened."""
    x, y = (_SCALE * one for one in course.number_at)
    if not count:
        return text(code, x, y, course.anchor, "c-soft")
    half = _LETTER * len(code) / 2
    across = x + {"start": half, "middle": 0.0, "end": -half}[course.anchor]
    middle, level = _middle(course)
    away = math.dist((across, y - 5), (middle, level))
    further = max(_radius(count, most) + _CLEAR - away, 0.0) / away
    return text(
        code, x + further * (across - middle), y + further * (y - 5 - level), course.anchor, "c-strong"
    )


def _disc(course: Course, number: int, most: int) -> tuple[str, ...]:
    x, y = _middle(course)
    radius = _radius(number, most)
    return (
        element("circle", class_="c-hollow", cx=x, cy=y, r=radius),
        element("circle", class_="c-flow", cx=x, cy=y, r=radius),
        text(said(number), x, y + 5, "middle", "c-strong"),
    )


def said(number: int) -> str:
    """A count as it stands in its disc."""
    return shortened(number, _IN_THOUSANDS)


def _radius(number: int, most: int) -> float:
    """By the square root of the count, and never less than the number in the disc needs."""
    needed = math.hypot(width(said(number), _SIZE_OF_LETTERS, bold=True), _HEIGHT_OF_DIGITS) / 2
    return max(_SMALLEST, needed, _LARGEST * math.sqrt(number / most))


def _middle(course: Course) -> tuple[float, float]:
    """The point half-way along the course."""
    left = sum(math.dist(one, other) for one, other in pairwise(course.points)) / 2
    for one, other in pairwise(course.points):
        length = math.dist(one, other)
        if left <= length:
            share = left / length
            (x, y), (far_x, far_y) = one, other
            return _SCALE * (x + share * (far_x - x)), _SCALE * (y + share * (far_y - y))
        left -= length
    x, y = course.points[-1]
    return _SCALE * x, _SCALE * y
