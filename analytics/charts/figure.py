"""A picture with its table twin: drawn on the page by classes, as a file with its colours in it. Knows no question.

Marks are told apart by shape and word as well as by colour; the table holds every number that is drawn.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from registry.drawings import svg

Cell = str | int | float | None

COLOURS: Mapping[str, Mapping[str, str]] = {
    "c-line": {"stroke": "#DDD8CE", "stroke-width": "1", "fill": "none"},
    "c-vessel": {"stroke": "#8B8578", "fill": "none"},
    "c-axis": {"stroke": "#8B8578", "stroke-width": "1", "fill": "none"},
    "c-soft": {"fill": "#5B6470"},
    "c-word": {"fill": "#1A1D21"},
    "c-strong": {"fill": "#1A1D21", "font-weight": "700"},
    "c-over": {"fill": "#1A1D21", "stroke": "#FFFFFF", "stroke-width": "4", "paint-order": "stroke"},
    "c-named": {
        "fill": "#1A1D21",
        "font-weight": "700",
        "stroke": "#FFFFFF",
        "stroke-width": "4",
        "paint-order": "stroke",
    },
    "c-series": {"stroke": "#3B3F9E", "stroke-width": "2.5", "fill": "none"},
    "c-limit": {"stroke": "#1A1D21", "stroke-width": "1.5", "stroke-dasharray": "6 4", "fill": "none"},
    "c-dot": {"fill": "#3B3F9E", "stroke": "#3B3F9E", "stroke-width": "2"},
    "c-hollow": {"fill": "#FFFFFF", "stroke": "#3B3F9E", "stroke-width": "2"},
    "c-crossed": {"fill": "none", "stroke": "#1A1D21", "stroke-width": "2"},
    "c-ground": {"fill": "#ECEBFA"},
    "c-band": {"fill": "#F3F0E6"},
    "c-out": {"fill": "#0B6E5B"},
    "c-secured": {"fill": "#3B3F9E"},
    "c-left": {"fill": "#59616B"},
    "c-surgery": {"fill": "#8A5A00"},
    "c-died": {"fill": "#A8321F"},
    "c-open": {"fill": "#F3F0E6"},
    "c-flow": {"fill": "#3B3F9E", "fill-opacity": "0.35"},
    "c-edge": {"stroke": "#FFFFFF", "stroke-width": "1.5", "fill": "none"},
    "c-box": {"fill": "#FFFFFF", "stroke": "#8B8578", "stroke-width": "1.5"},
}
"""Every class that a chart may draw with, as it looks in a file; `charts.css` says how it looks on a page."""

MOST_PRINTED = 400
"""Rows of a table beside its picture: a longer one has its last rows there, and all of them in its CSV."""
_FONT = "Atkinson Hyperlegible Next, Atkinson Hyperlegible, Arial, sans-serif"
_WIDE, _LONG = 900.0, 1_300.0
"""What is wider scrolls sideways sooner, so that its words stay as large as they are drawn; what is long always."""
_CLASS = re.compile(r'class="(c-[a-z-]+)"')


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture named `name` (a slug, its own within the page) with the table that says the same.

    `description` tells what is to be seen, in a sentence or two with its numbers; `size` in units of the drawing, of
    which the page shows at most as many pixels. `method` is an anchor of "How the numbers are made".
    """

    name: str
    title: str
    description: str
    size: tuple[float, float]
    content: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    method: str

    @property
    def printed(self) -> list[list[str]]:
        """The table as it is read: numbers with their thousands, shares to four places, nothing as a dash."""
        return [[_printed(cell) for cell in row] for row in self.rows[-MOST_PRINTED:]]

    @property
    def shortened(self) -> str:
        """What is said where the table beside the picture has not all rows, else nothing."""
        if len(self.rows) <= MOST_PRINTED:
            return ""
        return f"The last {MOST_PRINTED} of {len(self.rows):,} rows; the CSV has them all."

    @property
    def drawn(self) -> str:
        """The picture for a page, coloured by its style sheet."""
        across = self.size[0]
        kind = " long" if across > _LONG else " wide" if across > _WIDE else ""
        return svg.picture(
            self.name,
            self.title,
            self.description,
            self.size,
            *self.content,
            class_=f"chart-picture{kind}",
        )

    @property
    def file(self) -> str:
        """The picture as a file of its own, on white, its colours in it."""
        width, height = self.size
        ground = svg.element("rect", width=width, height=height, fill="#FFFFFF")
        body = svg.element("g", *self.content, font_family=_FONT, font_size="14")
        whole = svg.picture(
            self.name, self.title, self.description, self.size, ground, body, class_="chart-picture"
        )
        return _CLASS.sub(lambda found: _attributes(found[1]), whole)


def _attributes(name: str) -> str:
    return " ".join(f'{key}="{value}"' for key, value in COLOURS[name].items())


def _printed(cell: Cell) -> str:
    if cell is None:
        return "–"
    if isinstance(cell, float):
        return f"{cell:,.4f}".rstrip("0").rstrip(".")
    return f"{cell:,}" if isinstance(cell, int) else cell
