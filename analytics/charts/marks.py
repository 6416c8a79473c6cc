"""Level lines and words, as all charts draw them; knows no chart."""

from __future__ import annotations

from registry.drawings.svg import element, words


def line(start: float, end: float, y: float, class_: str) -> str:
    """A level line."""
    return element("line", class_=class_, x1=start, x2=end, y1=y, y2=y)


def text(said: str, x: float, y: float, anchor: str, class_: str) -> str:
    """Words from, about or up to a place: `anchor` is `start`, `middle` or `end`."""
    return element("text", words(said), class_=class_, x=x, y=y, text_anchor=anchor)
