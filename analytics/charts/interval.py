"""One interval as a picture, a dot with its line on an axis; knows no row, and its only arithmetic is the scale.

The numbers are printed beside each picture, which is therefore hidden from those who are read to.
"""

from __future__ import annotations

from functools import cache

from registry.drawings.svg import element, number

WIDTH, HEIGHT, EDGE = 320, 32, 10
_MIDDLE = HEIGHT // 2
_TIP = WIDTH - EDGE + 6
_ARROW = (
    f'<path class="interval-arrow" d="M{_TIP - 6} {_MIDDLE - 5}L{_TIP} {_MIDDLE}L{_TIP - 6} {_MIDDLE + 5}"/>'
)
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
_INTERVALS = (4, 5)


def interval(dot: float, lower: float, upper: float, end: float, ticks: int, *, few: bool) -> str:
    """A dot with its limits on an axis from 0 to `end`: hollow, on a broken line, where it rests on `few`.

    What lies beyond the axis ends in an arrow; a dot beyond it is not drawn.
    """
    classes = " few" if few else ""
    line = f'<path class="interval-line{classes}" d="M{_x(lower, end)} {_MIDDLE}H{_x(upper, end)}"/>'
    arrow = _ARROW if upper > end else ""
    mark = f'<circle class="interval-dot{classes}" cx="{_x(dot, end)}" cy="{_MIDDLE}" r="6"/>'
    return f"{_on_axis(ticks)}{line}{arrow}{mark if dot <= end else ''}</svg>"


def upper_limit(upper: float, end: float, ticks: int) -> str:
    """Where none was seen: a broken line from 0 to an upright stroke at the upper limit."""
    x = _x(upper, end)
    line = f'<path class="interval-line few" d="M{_x(0.0, end)} {_MIDDLE}H{x}"/>'
    stroke = f'<path class="interval-line" d="M{x} {_MIDDLE - 7}V{_MIDDLE + 7}"/>'
    return f"{_on_axis(ticks)}{line}{_ARROW if upper > end else stroke}</svg>"


def axis(end: float, ticks: int, unit: str = "") -> str:
    """The numbers of an axis, for the head of its column."""
    numbers = [
        element(
            "text",
            f"{end * which / ticks:g}{unit if which == ticks else ''}",
            class_="axis-number",
            x=_x(end * which / ticks, end),
            y=15.0,
            text_anchor="middle" if which < ticks else "end",
            dx=EDGE if which == ticks else None,
        )
        for which in range(ticks + 1)
    ]
    return element("svg", *numbers, class_="interval", viewBox=f"0 0 {WIDTH} 20", aria_hidden="true")


def axis_for(largest: float) -> tuple[float, int]:
    """The end of an axis that holds `largest`, a round number, and into how many equal parts it falls."""
    step = 1e-9
    while True:
        for factor in _STEPS:
            for parts in _INTERVALS:
                if factor * step * parts >= largest:
                    return float(f"{factor * step * parts:.6g}"), parts
        step *= 10


def _x(value: float, end: float) -> str:
    return number(EDGE + min(value / end, 1.0) * (WIDTH - 2 * EDGE))


@cache
def _on_axis(ticks: int) -> str:
    """The beginning of each picture of a column: the lines of its axis, without its numbers."""
    lines = "".join(f"M{_x(which, ticks)} 2V{HEIGHT - 2}" for which in range(ticks + 1))
    return (
        f'<svg class="interval" viewBox="0 0 {WIDTH} {HEIGHT}" aria-hidden="true">'
        f'<path class="axis-line" d="{lines}"/>'
    )
