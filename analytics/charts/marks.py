"""Level lines and words, as all charts draw them; knows no chart."""

from __future__ import annotations

from registry.drawings.svg import element, words


def shortened(number: int, whole_below: int) -> str:
    """`4,902`, or `12k` where there is no room for the whole number; the table beside the picture has it."""
    return f"{number:,}" if number < whole_below else f"{number / 1_000:,.0f}k"


def line(start: float, end: float, y: float, class_: str) -> str:
    """A level line."""
    return element("line", class_=class_, x1=start, x2=end, y1=y, y2=y)


def text(said: str, x: float, y: float, anchor: str, class_: str) -> str:
    """Words from, about or up to a place: `anchor` is `start`, `middle` or `end`."""
    return element("text", words(said), class_=class_, x=x, y=y, text_anchor=anchor)
