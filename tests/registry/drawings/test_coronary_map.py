"""The coronary map: every segment of the vocabulary is on it, strokes keep to their angles, nothing overlaps."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.drawings.coronary_map import BESIDE_ROOM, STEP, coronary_map, segments_for
from registry.drawings.coronary_plan import AORTA, COURSES, HEIGHT, WIDTH
from registry.drawings.lettering import SMALL, width
from registry.vocabulary import word_list
from tests.registry.drawings.reading import SVG, holds_under_a_strict_policy, lines, parsed

SEGMENTS = [code for code in word_list("segment").codes if code not in ("unknown", "other")]

Box = tuple[float, float, float, float]


def box(x: float, y: float, wide: float, anchor: str, rows: int = 1) -> Box:
    """Left, top, right and foot of words whose first base line starts, is centred or ends there."""
    left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
    return left, y - 0.72 * SMALL, left + wide, y + (rows - 1) * STEP


def number_boxes() -> dict[str, Box]:
    return {
        code: box(*course.number_at, width(code, SMALL, bold=True), course.anchor)
        for code, course in COURSES.items()
    }


def words_boxes() -> dict[str, Box]:
    return {
        f"words of {code}": box(*course.words_at[:2], BESIDE_ROOM, course.words_at[2], 2)
        for code, course in COURSES.items()
        if course.words_at
    }


def stroke_boxes() -> dict[str, list[Box]]:
    """Each stroke as a row of small squares of its width when chosen."""
    squares: dict[str, list[Box]] = {}
    for code, course in COURSES.items():
        half = (course.stroke + 3) / 2
        for (x1, y1), (x2, y2) in zip(course.points, course.points[1:], strict=False):
            steps = max(abs(x2 - x1), abs(y2 - y1))
            for step in range(steps + 1):
                x, y = x1 + (x2 - x1) * step / steps, y1 + (y2 - y1) * step / steps
                squares.setdefault(code, []).append((x - half, y - half, x + half, y + half))
    return squares


def meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def test_every_segment_of_the_vocabulary_has_a_course_and_no_other():
    assert sorted(COURSES) == sorted(SEGMENTS)


def test_the_map_shows_the_segments_of_its_dominance():
    right, left = set(segments_for("right")), set(segments_for("left"))
    assert set(SEGMENTS) - right == {"15"}
    assert set(SEGMENTS) - left == {"4", "16", "16a", "16b", "16c"}
    assert (
        set(segments_for(None))
        == set(segments_for("co_dominant"))
        == set(segments_for("unknown"))
        == set(SEGMENTS)
    )


@pytest.mark.parametrize("dominance", [None, "right", "left", "co_dominant", "unknown"])
def test_each_segment_shown_has_its_number_and_a_stroke_to_touch(dominance):
    picture = coronary_map(dominance=dominance, selectable=True)
    hits = [node for node in parsed(picture).iter() if node.get("class") == "cm-hit"]
    assert [hit.get("data-segment") for hit in hits] == list(segments_for(dominance))
    assert all(float(hit.get("stroke-width", 0)) * 366 / WIDTH >= 21.9 for hit in hits)
    assert set(segments_for(dominance)) <= set(lines(picture))


def test_a_recorded_segment_is_drawn_whatever_the_dominance():
    assert "15" in lines(coronary_map(dominance="right", chosen=["15"]))


def test_strokes_run_at_45_and_90_degrees():
    for course in COURSES.values():
        for (x1, y1), (x2, y2) in zip(course.points, course.points[1:], strict=False):
            assert x1 == x2 or y1 == y2 or abs(x2 - x1) == abs(y2 - y1)


def test_no_number_meets_a_stroke_another_number_or_the_aorta():
    numbers, strokes, (x, y, radius) = number_boxes(), stroke_boxes(), AORTA
    round_aorta = (x - radius - 2, y - radius - 2, x + radius + 2, y + radius + 2)
    assert [pair for pair in combinations(numbers, 2) if meet(numbers[pair[0]], numbers[pair[1]])] == []
    assert [
        (number, code)
        for number, place in numbers.items()
        for code, squares in strokes.items()
        if any(meet(place, square) for square in squares)
    ] == []
    assert not any(meet(round_aorta, place) for place in numbers.values())


def test_two_lines_of_words_beside_a_segment_meet_nothing():
    said, numbers, strokes = words_boxes(), number_boxes(), stroke_boxes()
    assert [pair for pair in combinations(said, 2) if meet(said[pair[0]], said[pair[1]])] == []
    for name, place in said.items():
        assert [code for code, other in numbers.items() if meet(place, other)] == [], name
        assert [
            code for code, squares in strokes.items() if any(meet(place, one) for one in squares)
        ] == [], name


def test_everything_lies_within_the_picture():
    for left, top, right, foot in [*number_boxes().values(), *words_boxes().values()]:
        assert left >= 0 and top >= 0 and right <= WIDTH and foot <= HEIGHT


def test_words_stand_beside_where_there_is_room_and_below_where_not():
    picture = coronary_map(marked={"2": "stent crushed", "9": "wire stuck"})
    assert parsed(picture).get("height") != str(HEIGHT)
    assert {"stent crushed", "9 wire stuck"} <= set(lines(picture))
    assert parsed(coronary_map(marked={"2": "stent crushed"})).get("height") == str(HEIGHT)


def test_the_description_names_what_is_chosen_and_what_happened():
    text = parsed(coronary_map(chosen=["2"], marked={"9": "wire stuck"})).findtext(f"{SVG}desc")
    assert text == "First diagonal (9): wire stuck. Chosen: right coronary, mid (2)."


def test_a_code_that_is_no_numbered_segment_is_passed_over():
    assert coronary_map(chosen=["unknown"]) == coronary_map()


@given(text=st.text(max_size=60) | st.sampled_from(['"><script>alert(1)</script>', "]]>&<"]))
def test_hostile_words_are_only_text(text):
    picture = coronary_map(marked={"2": text, "9": text}, selectable=True)
    assert holds_under_a_strict_policy(picture)
