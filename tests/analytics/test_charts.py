"""Charts: a class that is drawn with looks the same on a page and in a file; a file needs nothing beside it."""

from __future__ import annotations

import datetime
import random
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from analytics.charts import cusum, figure
from analytics.charts.figure import COLOURS, MOST_PRINTED, Figure
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
    assert not a_figure().shortened


def test_a_long_table_twin_prints_its_last_rows_and_says_that_the_csv_has_all() -> None:
    long = replace(a_figure(), rows=tuple((number, None) for number in range(MOST_PRINTED + 1_234)))
    assert len(long.printed) == MOST_PRINTED
    assert long.printed[-1][0] == "1,633"
    assert long.shortened == "The last 400 of 1,634 rows; the CSV has them all."


def a_sum(events: int) -> tuple[list[tuple[float, float]], int, list[cusum.Turn]]:
    """The places of the line of a sum with so many events, its dots, and what it was drawn of."""
    chances = random.Random(4)
    months = [datetime.date(2020 + number // 12, number % 12 + 1, 1) for number in range(48)]
    turns = [(48 * number / events, 3 * chances.random() + number % 3) for number in range(events)]
    _, drawn = cusum.running_sum(months, turns, turns, 4.0, [], [], said="")
    picture = "".join(drawn)
    (path,) = re.findall(r'class="c-series" d="M([^"]+)"', picture)
    places = [(float(x), float(y)) for x, y in (place.split() for place in path.split("L"))]
    return places, picture.count('class="c-dot"'), turns


def test_a_sum_of_few_events_has_a_dot_at_each() -> None:
    _, dots, turns = a_sum(cusum.MOST_DOTS)
    assert dots == len(turns)


def test_a_sum_of_many_events_is_drawn_of_few_places_and_loses_no_height_and_no_end() -> None:
    places, dots, turns = a_sum(50_000)
    assert not dots
    across = places[-1][0] - places[0][0]
    assert len(places) <= 4 * (across + 2)
    heights = [value for _, value in turns]
    lowest, highest = (heights[0] - heights[heights.index(edge)] for edge in (min(heights), max(heights)))
    drawn = [y - places[0][1] for _, y in places]
    scale = (max(drawn) - min(drawn)) / (max(heights) - min(heights))
    assert max(drawn) == pytest.approx(lowest * scale, abs=0.2)
    assert min(drawn) == pytest.approx(highest * scale, abs=0.2)
    assert places[-1][1] - places[0][1] == pytest.approx((heights[0] - heights[-1]) * scale, abs=0.2)
