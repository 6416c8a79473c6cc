"""Uses between events as dots with the longest that chance leaves; knows no question and no statistics."""

from __future__ import annotations

from collections.abc import Sequence

from analytics.charts.interval import axis_for
from analytics.charts.marks import line, text
from analytics.charts.months import LEFT, RIGHT, TOP, USUAL
from registry.drawings.svg import element

_PLOT = 180.0
_LEAST_STEP, _MOST_STEP = 64.0, 120.0


def uses_between(
    uses: Sequence[int], ends: Sequence[str], centre: float | None, upper: float | None
) -> tuple[tuple[float, float], tuple[str, ...]]:
    """Size and drawing: a dot for each gap over the words of the event that ends it."""
    step = min(max((USUAL - LEFT - RIGHT) / len(uses), _LEAST_STEP), _MOST_STEP)
    end, parts = axis_for(float(max([1, *uses, upper or 0])))
    floor, scale = TOP + _PLOT, _PLOT / end
    right = LEFT + step * len(uses)
    middle = TOP + _PLOT / 2
    drawn = [
        text("Uses", LEFT - 54, middle - 3, "end", "c-soft"),
        text("between", LEFT - 54, middle + 14, "end", "c-soft"),
    ]
    for which in range(parts + 1):
        y = floor - end * which / parts * scale
        drawn.append(line(LEFT, right, y, "c-line" if which else "c-axis"))
        drawn.append(text(f"{end * which / parts:,.0f}", LEFT - 8, y + 5, "end", "c-soft"))
    if upper is not None:
        drawn.append(line(LEFT, right, floor - upper * scale, "c-limit"))
        drawn.append(
            text(f"longest by chance: {upper:,.0f}", LEFT + 2, floor - upper * scale - 7, "start", "c-word")
        )
    if centre is not None:
        drawn.append(line(LEFT, right, floor - centre * scale, "c-axis"))
    for which, (gap, word) in enumerate(zip(uses, ends, strict=True)):
        x = LEFT + step * (which + 0.5)
        drawn.append(element("circle", class_="c-dot", cx=x, cy=floor - gap * scale, r=6.0))
        drawn.append(text(word, x, floor + 20, "middle", "c-word"))
    return (max(right + RIGHT, USUAL * 0.6), floor + 34), tuple(drawn)
