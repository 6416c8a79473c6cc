"""Line breaking: nothing is lost, no line is wider than its room."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.drawings.lettering import Run, line_width, wrapped, wrapped_parts, wrapped_text


def text_of(lines) -> str:
    return "".join(run.text for line in lines for run in line).replace(" ", "")


@given(texts=st.lists(st.tuples(st.text(max_size=30), st.booleans()), min_size=1, max_size=4))
def test_no_letter_is_lost_and_no_line_is_too_wide(texts):
    runs = [Run(text, bold) for text, bold in texts]
    lines = wrapped(runs, 13.5, 120)
    assert text_of(lines) == "".join(text for text, _ in texts).replace(" ", "")
    assert all(line_width(line, 13.5) <= 120 for line in lines)


def test_a_word_that_is_too_wide_is_cut():
    assert len(wrapped_text("w" * 60, 16, 200)) > 1


def test_phrases_stay_whole_where_they_fit():
    lines = wrapped_parts(["to retrieve", "small balloon", "for 6 min"], 13.5, 180)
    assert [run.text for line in lines for run in line] == ["to retrieve · small balloon", "for 6 min"]


@pytest.mark.parametrize("room", range(60, 200, 5))
def test_no_line_begins_with_the_comma_after_a_bold_word(room):
    lines = wrapped([Run("Injury: "), Run("flow blocked", True), Run(", before any act")], 13.5, room)
    assert not any(line[0].text.startswith(",") for line in lines)
