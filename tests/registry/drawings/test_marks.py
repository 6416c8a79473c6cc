"""The marks: shape tells them apart, the published file is the one that is generated."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from registry.drawings.marks import FIELD, MARKS, RESULTS, WORK, mark, symbol_sheet
from registry.terms import Result
from tests.registry.drawings.reading import SVG, holds_under_a_strict_policy

SHEET = Path(__file__).parents[3] / "registry" / "static" / "registry" / "marks.svg"
CSS = SHEET.with_name("drawings.css")


def test_the_published_file_is_the_generated_one():
    """To write it anew: `python -c "from registry.drawings.marks import *; print(symbol_sheet(), end='')"`."""
    assert SHEET.read_text(encoding="utf-8") == symbol_sheet()


def test_every_result_an_act_can_have_has_a_mark():
    assert set(Result) <= set(RESULTS)


def test_the_two_families_share_no_name():
    assert len(MARKS) == len(RESULTS) + len(WORK) == 19


def test_no_two_marks_have_the_same_shape():
    outlines = [
        tuple(node.get("d", "") for node in ElementTree.fromstring(f"<g>{shape}</g>"))
        for shape in MARKS.values()
    ]
    dashes = ["stroke-dasharray" in shape for shape in MARKS.values()]
    assert len(set(zip(outlines, dashes, strict=True))) == len(MARKS)
    assert all(all(outline) for outline in outlines)


def test_marks_have_no_colour_of_their_own():
    for node in ElementTree.fromstring(symbol_sheet()).iter():
        assert {node.get("fill"), node.get("stroke")} <= {None, "none", "currentColor"}


def test_strokes_of_a_mark_at_14_px_are_a_pixel_wide_at_least():
    widths = [float(node.get("stroke-width", 2)) for node in ElementTree.fromstring(symbol_sheet()).iter()]
    assert min(widths) * 14 / FIELD > 1


def test_a_mark_points_at_its_symbol_and_is_silent():
    written = ElementTree.fromstring(mark("resolved", "/static/marks.1a2b.svg"))
    assert written.get("class") == "mark mark-resolved"
    assert written.get("aria-hidden") == "true"
    assert written[0].get("href") == "/static/marks.1a2b.svg#resolved"
    assert {node.get("id") for node in ElementTree.fromstring(symbol_sheet()).iter(f"{SVG}symbol")} == set(
        MARKS
    )


def test_an_address_with_signs_of_markup_is_escaped():
    assert ElementTree.fromstring(mark("due", '/"><script>'))[0].get("href") == '/"><script>#due'


def test_an_unknown_mark_is_refused():
    with pytest.raises(KeyError):
        mark("applause", "/marks.svg")


def test_the_sheet_holds_under_a_strict_policy():
    assert holds_under_a_strict_policy(symbol_sheet())


@pytest.mark.parametrize("result", sorted(Result))
def test_every_result_has_a_colour_in_the_style_sheet(result):
    assert f".lp-rung-{result}" in CSS.read_text(encoding="utf-8")
