"""Any funnel: who is compared, what is drawn and where; the picture holds every point and no word covers another."""

from __future__ import annotations

import math
import re
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.charts.funnel import SIZE, funnel
from analytics.charts.places import SIZE as SIZE_OF_MAP
from analytics.charts.places import places, said
from analytics.summaries.funnels import LEVELS, funnel_of
from registry.drawings.coronary_plan import COURSES
from registry.drawings.lettering import width

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

GROUPS = st.lists(
    st.integers(0, 3_000).flatmap(lambda size: st.tuples(st.just(size), st.integers(0, size))), max_size=12
)


def a_funnel(groups: list[tuple[int, int]]) -> tuple[str, ...] | None:
    found = funnel_of([("" if which else "North", x, n) for which, (n, x) in enumerate(groups)])
    if found is None:
        return None
    return funnel(found, per=1_000, fewest=5, across="size", up="share", together="all together")


@given(GROUPS)
def test_each_group_with_a_size_is_compared_once_about_what_all_have_together(
    groups: list[tuple[int, int]],
) -> None:
    found = funnel_of([(str(which), x, n) for which, (n, x) in enumerate(groups)])
    sizes, events = sum(n for n, _ in groups), sum(x for _, x in groups)
    if sum(n > 0 for n, _ in groups) < 2 or events in (0, sizes):
        assert found is None
        return
    assert found is not None and found.target == pytest.approx(events / sizes)
    assert [(point.events, point.size) for point in found.points] == [(x, n) for n, x in groups if n]
    assert bool(found.widened) == (found.phi > 1)
    for point in found.points:
        share = point.events / point.size
        inside = [low <= share <= high for low, high in point.within]
        assert point.beyond == max(
            (one for one, held in zip(LEVELS, inside, strict=True) if not held), default=None
        )
        assert 0 <= point.p_adjusted <= 1
        assert not point.above or share > found.target


@given(GROUPS)
def test_the_picture_holds_every_point_and_no_label_covers_another(groups: list[tuple[int, int]]) -> None:
    drawn = a_funnel(groups)
    if drawn is None:
        return
    root = ElementTree.fromstring(f"<svg>{''.join(drawn)}</svg>")
    marks = [*root.iter("rect"), *root.iter("circle")]
    assert len(marks) >= sum(n > 0 for n, _ in groups)
    for mark in marks:
        x, y = float(mark.get("cx") or mark.get("x") or -1), float(mark.get("cy") or mark.get("y") or -1)
        assert 0 <= x <= SIZE[0] and 0 <= y <= SIZE[1]
    labels = sorted(float(text.get("y") or 0) for text in root.iter("text") if text.get("x") == "600")
    assert all(later - earlier >= 16.9 for earlier, later in pairwise(labels))
    for path in root.iter("path"):
        for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path.get("d") or ""):
            assert 0 <= float(x) <= SIZE[0] and 0 <= float(y) <= SIZE[1]


@given(st.dictionaries(st.sampled_from([*COURSES, "unknown", "other"]), st.integers(0, 5_000)))
def test_each_segment_with_complications_has_one_disc_with_its_number_inside_the_map(
    counts: dict[str, int],
) -> None:
    root = ElementTree.fromstring(f"<svg>{''.join(places(counts))}</svg>")
    discs = [mark for mark in root.iter("circle") if mark.get("class") == "c-hollow"]
    shown = sorted(number for code, number in counts.items() if code in COURSES and number)
    assert len(discs) == len(shown)
    words = [text.text for text in root.iter("text")]
    assert all(said(number) in words for number in shown)
    for disc in discs:
        x, y, r = (float(disc.get(name) or 0) for name in ("cx", "cy", "r"))
        assert r <= x <= SIZE_OF_MAP[0] - r and r <= y <= SIZE_OF_MAP[1] - r
    largest = max((float(disc.get("r") or 0) for disc in discs), default=11)
    assert 11 <= largest <= 23


@pytest.mark.parametrize("count", [1, 12, 100, 1_000, 99_999, 1_000_000])
def test_a_disc_is_at_least_as_wide_as_its_number_beside_the_largest(count: int) -> None:
    root = ElementTree.fromstring(f"<svg>{''.join(places({'1': count, '4': 1_000_000_000}))}</svg>")
    disc = next(mark for mark in root.iter("circle") if mark.get("class") == "c-hollow")
    assert said(count) in [text.text for text in root.iter("text")]
    assert 2 * float(disc.get("r") or 0) > width(said(count), 14, bold=True)


def test_a_disc_holds_its_number_or_thousands_and_no_disc_lies_on_another() -> None:
    assert [said(one) for one in (7, 4_902, 9_999, 11_748, 1_000_000)] == [
        "7",
        "4,902",
        "9,999",
        "12k",
        "1,000k",
    ]
    root = ElementTree.fromstring(f"<svg>{''.join(places(dict.fromkeys(COURSES, 99_999)))}</svg>")
    discs = [
        tuple(float(mark.get(name) or 0) for name in ("cx", "cy", "r"))
        for mark in root.iter("circle")
        if mark.get("class") == "c-hollow"
    ]
    apart = [math.dist(one[:2], other[:2]) - one[2] - other[2] for one, other in combinations(discs, 2)]
    assert min(apart) > -6, "their edges may touch, their numbers may not"


@pytest.mark.parametrize("count", [100, 5_000, 50_000])
def test_no_disc_covers_the_number_of_its_segment(count: int) -> None:
    for code in COURSES:
        root = ElementTree.fromstring(f"<svg>{''.join(places({code: count}))}</svg>")
        (disc,) = (mark for mark in root.iter("circle") if mark.get("class") == "c-hollow")
        (number,) = (mark for mark in root.iter("text") if mark.text == code)
        x, y, r = (float(disc.get(name) or 0) for name in ("cx", "cy", "r"))
        left = float(number.get("x") or 0) - {"start": 0, "middle": 4, "end": 8}[
            number.get("text-anchor") or ""
        ] * len(code)
        letters = [left + 8 * (place + 0.5) for place in range(len(code))]
        assert all(math.dist((at, float(number.get("y") or 0) - 5), (x, y)) > r + 5 for at in letters), code
