"""One interval as a picture, a dot with its line on an axis; knows no row, and its only arithmetic is the scale.

The numbers are printed beside each picture, which is therefore hidden from those who are read to.
"""

from __future__ import annotations

from registry.drawings.svg import element

WIDTH, HEIGHT, EDGE = 320.0, 32.0, 10.0
_MIDDLE = HEIGHT / 2
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
_INTERVALS = (4, 5)


def interval(dot: float, lower: float, upper: float, end: float, ticks: int, *, few: bool) -> str:
    """A dot with its limits on an axis from 0 to `end`: hollow, on a broken line, where it rests on `few`.

    What lies beyond the axis ends in an arrow; a dot beyond it is not drawn.
    """
    line = "interval-line few" if few else "interval-line"
    parts = [element("line", class_=line, x1=_x(lower, end), x2=_x(upper, end), y1=_MIDDLE, y2=_MIDDLE)]
    if upper > end:
        parts.append(_arrow())
    if dot <= end:
        mark = "interval-dot few" if few else "interval-dot"
        parts.append(element("circle", class_=mark, cx=_x(dot, end), cy=_MIDDLE, r=6.0))
    return _on_axis(end, ticks, *parts)


def upper_limit(upper: float, end: float, ticks: int) -> str:
    """Where none was seen: a broken line from 0 to an upright stroke at the upper limit."""
    x = _x(upper, end)
    stroke = element("line", class_="interval-line", x1=x, x2=x, y1=_MIDDLE - 7, y2=_MIDDLE + 7)
    line = element("line", class_="interval-line few", x1=_x(0.0, end), x2=x, y1=_MIDDLE, y2=_MIDDLE)
    return _on_axis(end, ticks, line, _arrow() if upper > end else stroke)


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
    return _picture(20.0, *numbers)


def axis_for(largest: float) -> tuple[float, int]:
    """The end of an axis that holds `largest`, a round number, and into how many equal parts it falls."""
    step = 1e-9
    while True:
        for factor in _STEPS:
            for parts in _INTERVALS:
                if factor * step * parts >= largest:
                    return float(f"{factor * step * parts:.6g}"), parts
        step *= 10


def _x(value: float, end: float) -> float:
    return EDGE + min(value / end, 1.0) * (WIDTH - 2 * EDGE)


def _arrow() -> str:
    tip = WIDTH - EDGE + 6
    return element(
        "path",
        class_="interval-arrow",
        d=f"M{tip - 6:g} {_MIDDLE - 5:g}L{tip:g} {_MIDDLE:g}L{tip - 6:g} {_MIDDLE + 5:g}",
    )


def _on_axis(end: float, ticks: int, *parts: str) -> str:
    lines = [
        element("line", class_="axis-line", x1=x, x2=x, y1=2.0, y2=HEIGHT - 2)
        for x in (_x(end * which / ticks, end) for which in range(ticks + 1))
    ]
    return _picture(HEIGHT, *lines, *parts)


def _picture(height: float, *parts: str) -> str:
    return element(
        "svg",
        *parts,
        class_="interval",
        viewBox=f"0 0 {WIDTH:g} {height:g}",
        aria_hidden="true",
        focusable="false",
    )
