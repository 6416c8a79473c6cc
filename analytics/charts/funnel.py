"""Groups about their common share, by their size, within curved limits; named ones are discs, others squares.

Knows no question, and its only arithmetic is that of scales.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analytics.answers_sites import Funnel, Limits, Point
from analytics.charts.interval import axis_for
from analytics.charts.marks import text
from registry.drawings.svg import element

SIZE = (760.0, 440.0)
_LEFT, _RIGHT, _TOP, _BOTTOM = 70.0, 590.0, 26.0, 366.0
_LABEL, _APART = 600.0, 17.0
_LETTER = 8.5
"""Width of a letter of a name, rather more than less."""


class _Scales:
    """Where a size and a share stand: both axes begin at 0 and end at a round number."""

    def __init__(self, funnel: Funnel, per: int) -> None:
        self.per = per
        self.wide, self.columns = axis_for(float(funnel.sizes[-1]))
        widest = funnel.widened or funnel.exact
        smallest = min(point.size for point in funnel.points)
        limits = [high for size, high in zip(funnel.sizes, widest[0].upper, strict=True) if size >= smallest]
        self.high, self.rows = axis_for(
            per * max(*limits, *(point.events / point.size for point in funnel.points))
        )

    def x(self, size: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * size / self.wide

    def y(self, share: float) -> float:
        return _BOTTOM - (_BOTTOM - _TOP) * share * self.per / self.high


def funnel(answer: Funnel, *, per: int, fewest: int, across: str, up: str, together: str) -> tuple[str, ...]:
    """The drawing, of `SIZE`: shares times `per`; a named group of fewer than `fewest` is hollow.

    `across` and `up` name the axes, `together` the line of the common share.
    """
    scales = _Scales(answer, per)
    curves = [
        *((limits, "c-axis", "of chance") for limits in answer.exact),
        *((limits, "c-limit", "widened") for limits in answer.widened),
    ]
    target = scales.y(answer.target)
    return (
        *_axes(scales, across, up),
        *(part for limits, class_, _ in curves for part in _curve(answer.sizes, limits, class_, scales)),
        element("line", class_="c-crossed", x1=_LEFT, x2=_RIGHT, y1=target, y2=target),
        *(part for point in answer.points if not point.name for part in _unnamed(point, scales)),
        *(part for point in answer.points if point.name for part in _named(point, scales, fewest)),
        *_labels([(target, together), *_ends(answer, curves, scales)]),
    )


def _axes(scales: _Scales, across: str, up: str) -> Iterator[str]:
    for which in range(scales.rows + 1):
        value = scales.high * which / scales.rows
        y = scales.y(value / scales.per)
        yield element("line", class_="c-line", x1=_LEFT, x2=_RIGHT, y1=y, y2=y)
        yield text(f"{value:,.10g}", _LEFT - 8, y + 5, "end", "c-soft")
    for which in range(scales.columns + 1):
        value = scales.wide * which / scales.columns
        yield text(f"{value:,.10g}", scales.x(value), _BOTTOM + 22, "middle", "c-soft")
    yield element("line", class_="c-axis", x1=_LEFT, x2=_RIGHT, y1=_BOTTOM, y2=_BOTTOM)
    yield text(across, (_LEFT + _RIGHT) / 2, _BOTTOM + 48, "middle", "c-soft")
    yield text(up, _LEFT, 14.0, "start", "c-soft")


def _curve(sizes: Sequence[int], limits: Limits, class_: str, scales: _Scales) -> Iterator[str]:
    """Both limits, without what lies above the axis."""
    for shares in (limits.lower, limits.upper):
        points = [
            f"{scales.x(size):.1f} {scales.y(share):.1f}"
            for size, share in zip(sizes, shares, strict=True)
            if share * scales.per <= scales.high
        ]
        if points:
            yield element("path", class_=class_, d=f"M{'L'.join(points)}")


def _ends(
    answer: Funnel, curves: Sequence[tuple[Limits, str, str]], scales: _Scales
) -> Iterator[tuple[float, str]]:
    """Where the upper limits leave the picture on the right, with their words."""
    for limits, _, kind in curves:
        said = f"{100 * limits.level:g} %" + (f", {kind}" if answer.widened else "")
        yield scales.y(min(limits.upper[-1], scales.high / scales.per)), said


def _labels(said: Sequence[tuple[float, str]]) -> Iterator[str]:
    """Words beside the ends of lines, each above the one before it where they would cover each other.

    No line lies below that of the common share, which comes first and so stays where it is.
    """
    free = _BOTTOM
    for y, word in sorted(said, reverse=True):
        free = min(y + 5, free)
        yield text(word, _LABEL, free, "start", "c-word")
        free -= _APART


def _unnamed(point: Point, scales: _Scales) -> Iterator[str]:
    x, y = scales.x(point.size), scales.y(point.events / point.size)
    yield element("rect", class_="c-left", x=x - 4.5, y=y - 4.5, width=9.0, height=9.0)
    if point.beyond:
        yield element("circle", class_="c-crossed", cx=x, cy=y, r=10.0)


def _named(point: Point, scales: _Scales, fewest: int) -> Iterator[str]:
    x, y = scales.x(point.size), scales.y(point.events / point.size)
    counts = point.size if scales.per == 100 else point.events
    yield element("circle", class_="c-dot" if counts >= fewest else "c-hollow", cx=x, cy=y, r=6.5)
    if point.beyond:
        yield element("circle", class_="c-crossed", cx=x, cy=y, r=11.0)
    # Away from the line of the common share, on which most of them lie, and not over the words of the lines' ends.
    at, anchor = _inside(x, _LETTER * len(point.name))
    yield text(point.name, at, y - 15 if point.above else y + 26, anchor, "c-named")


def _inside(x: float, width: float) -> tuple[float, str]:
    """Where words about a place stand so that they end within the axes, and how they are anchored there."""
    if x + width / 2 > _RIGHT:
        return _RIGHT, "end"
    return (_LEFT + 4, "start") if x - width / 2 < _LEFT else (x, "middle")
