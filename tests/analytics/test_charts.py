"""Charts: a class that is drawn with looks the same on a page and in a file; a file needs nothing beside it."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from analytics.charts import figure
from analytics.charts.figure import COLOURS, Figure
from registry.drawings import svg
from registry.terms import Cause

pytestmark = pytest.mark.pure

FOLDER = Path(figure.__file__).parent
STYLES = FOLDER.parent / "static" / "analytics" / "charts.css"


def a_figure() -> Figure:
    dot = svg.element("circle", class_="c-dot", cx=10.0, cy=10.0, r=4.0)
    return Figure(
        "dots", "Dots", "One dot.", (20.0, 20.0), (dot,), ("n", "share"), ((1234, 0.25), (1, None)), "x"
    )


def test_every_class_that_charts_draw_with_has_its_look_on_a_page_and_in_a_file() -> None:
    drawing = [*FOLDER.glob("*.py"), *(FOLDER.parent / "figures").glob("*.py")]
    drawing.remove(Path(figure.__file__))  # which names them all
    used = {one for file in drawing for one in re.findall(r'"(c-[a-z-]+)"', file.read_text())}
    used |= {f"c-{cause}" for cause in Cause if cause != Cause.CENSORED}
    styled = set(re.findall(r"^\.(c-[a-z-]+) \{", STYLES.read_text(), re.MULTILINE))
    assert used == set(COLOURS) == styled


def test_a_file_of_a_figure_is_whole_and_has_its_colours_in_it() -> None:
    written = a_figure().file
    ElementTree.fromstring(written)
    assert 'class="c-' not in written
    assert COLOURS["c-dot"]["fill"] in written


def test_the_table_twin_prints_thousands_and_what_is_missing() -> None:
    assert a_figure().printed == [["1,234", "0.25"], ["1", "–"]]
