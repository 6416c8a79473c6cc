"""Gower's similarity against a published example and the formula by hand.

Status of a figure: *seen* in a public copy; *recomputed* here.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analytics.statistics.similarity import Kind, gower

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

# Age, gender, civil status, salary, has children, available credit: seen in the README of the Python package
# gower, with the distances below, which it computes in single precision.
PEOPLE: list[tuple[Any, ...]] = [
    *[(21, "M", "MARRIED", 3000, 1, 2200), (21, "M", "SINGLE", 1200, 0, 100)],
    *[(19, "N", "SINGLE", 32000, 1, 22000), (30, "M", "SINGLE", 1800, 1, 1100)],
    *[(21, "F", "MARRIED", 2900, 1, 2000), (21, "F", "SINGLE", 1100, 0, 100)],
    *[(19, "F", "WIDOW", 10000, 0, 6000), (30, "F", "DIVORCED", 1500, 1, 2200)],
]
KINDS: list[Kind] = ["number", "category", "category", "number", "category", "number"]
FROM_FIRST = [0, 0.3590238, 0.6707398, 0.31787416, 0.16872811, 0.52622986, 0.59697855, 0.47778758]
FROM_SECOND = [0.3590238, 0, 0.6964303, 0.3138769, 0.523629, 0.16720603, 0.45600235, 0.6539635]

SINGLE_PRECISION = 1e-6


@pytest.mark.parametrize(("person", "distances"), [(0, FROM_FIRST), (1, FROM_SECOND)])
def test_the_published_distances_are_reproduced(person: int, distances: list[float]) -> None:
    """Distance is 1 less similarity; all eight from the first and from the second person."""
    similarity = gower(PEOPLE[person], PEOPLE, KINDS)
    assert 1 - similarity == pytest.approx(distances, abs=SINGLE_PRECISION)


def test_the_first_two_people_by_hand() -> None:
    """Recomputed: (0 + 0 + 1 + 1800/30900 + 1 + 2100/21900) / 6 = .35902381, at full length here."""
    by_hand = (0 + 0 + 1 + 1800 / 30900 + 1 + 2100 / 21900) / 6
    assert by_hand == pytest.approx(0.35902381, abs=5e-9)
    assert 1 - gower(PEOPLE[0], PEOPLE, KINDS)[1] == pytest.approx(by_hand, abs=1e-15)


def test_someone_of_whom_nothing_is_known_is_comparable_to_nobody() -> None:
    """As the package has it: NaN to every row, never 0."""
    nobody = (None,) * 6
    similarity = gower(PEOPLE[0], [*PEOPLE, nobody], KINDS)
    assert np.isnan(similarity[-1])
    assert 1 - similarity[:-1] == pytest.approx(FROM_FIRST, abs=SINGLE_PRECISION)
    assert np.isnan(gower(nobody, PEOPLE, KINDS)).all()


def test_a_further_person_widens_the_range_and_changes_all_unless_it_is_given() -> None:
    """The trap of ranges: 30900 becomes 90900 with one salary of 92000; a given range stays."""
    rich = (21, "M", "MARRIED", 92000, 1, 2200)
    free = 1 - gower(PEOPLE[0], [*PEOPLE, rich], KINDS)
    assert free[1] == pytest.approx((0 + 0 + 1 + 1800 / 90900 + 1 + 2100 / 21900) / 6, abs=1e-15)
    ranges = [11, None, None, 30900, None, 21900]
    fixed = 1 - gower(PEOPLE[0], [*PEOPLE, rich], KINDS, ranges=ranges)
    assert fixed[:-1] == pytest.approx(FROM_FIRST, abs=SINGLE_PRECISION)
    assert fixed[-1] == pytest.approx(1 / 6)  # 89000 is beyond the range: no further than one whole range


def test_two_absences_are_left_out_where_the_answer_is_asymmetric() -> None:
    """Gower 1971, section 3, from memory: scores 1 0 0 and weights 1 1 1 0 for + + , + - , - + , - -."""
    rows = [[1], [0], [1], [0]]
    similarity = [
        gower([told], [row], ["asymmetric"])[0] for told, row in zip([1, 1, 0, 0], rows, strict=True)
    ]
    assert similarity[:3] == [1, 0, 0]
    assert np.isnan(similarity[3])


def test_weights_are_those_of_a_weighted_mean() -> None:
    """Recomputed by hand: weight 2 for salary, 0 for gender, 1 for the others."""
    expected = (0 + 1 + 2 * 1800 / 30900 + 1 + 2100 / 21900) / 6
    assert 1 - gower(PEOPLE[0], PEOPLE, KINDS, [1, 0, 1, 2, 1, 1])[1] == pytest.approx(expected, abs=1e-15)
