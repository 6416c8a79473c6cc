"""What holds for any p-values that are adjusted for how many there are."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.statistics.multiplicity import benjamini_hochberg, holm

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

Procedure = Callable[..., Any]

procedures = st.sampled_from([benjamini_hochberg, holm])
chances = st.floats(0, 1) | st.sampled_from([0.0, 0.01, 0.05, 1.0])
rows = st.lists(chances, min_size=1, max_size=40)


@given(rows)
def test_adjusted_p_values_lie_between_the_p_values_and_bonferronis(p: list[float]) -> None:
    by_bonferroni = np.minimum(np.array(p) * len(p), 1)
    false_discovery, any_false = benjamini_hochberg(p), holm(p)
    assert (np.array(p) <= false_discovery).all()
    assert (false_discovery <= any_false * (1 + 1e-12)).all()
    assert (any_false <= by_bonferroni * (1 + 1e-12)).all()
    assert (any_false <= 1).all()


@given(procedures, rows)
def test_a_smaller_p_value_is_never_adjusted_to_a_larger_one(procedure: Procedure, p: list[float]) -> None:
    adjusted = procedure(p)[np.argsort(p, kind="stable")]
    assert (np.diff(adjusted) >= 0).all()


@given(procedures, rows)
def test_equal_p_values_stay_equal(procedure: Procedure, p: list[float]) -> None:
    adjusted = procedure(p + p)
    assert np.array_equal(adjusted[: len(p)], adjusted[len(p) :])


@given(procedures, rows, st.randoms())
def test_each_comes_back_in_the_place_it_was_given(procedure: Procedure, p: list[float], random: Any) -> None:
    places = random.sample(range(len(p)), len(p))
    assert procedure([p[place] for place in places]).tolist() == procedure(p)[places].tolist()


@given(procedures, chances)
def test_one_comparison_needs_no_adjustment(procedure: Procedure, p: float) -> None:
    assert procedure([p]).tolist() == [p]


@given(procedures, rows, st.data())
def test_a_smaller_p_value_never_raises_the_adjusted_ones(
    procedure: Procedure, p: list[float], data: Any
) -> None:
    place = data.draw(st.integers(0, len(p) - 1))
    lowered = [*p[:place], p[place] / 2, *p[place + 1 :]]
    assert (procedure(lowered) <= procedure(p) * (1 + 1e-12)).all()


@pytest.mark.parametrize("procedure", [benjamini_hochberg, holm])
def test_no_comparisons_have_no_p_values(procedure: Procedure) -> None:
    assert procedure([]).tolist() == []


@pytest.mark.parametrize("procedure", [benjamini_hochberg, holm])
@pytest.mark.parametrize(
    "p",
    [
        [0.5, float("nan")],
        [0.5, float("inf")],
        [0.5, -0.1],
        [0.5, 1.1],
        ["0.5"],
        [True],
        [[0.1, 0.2], [0.3]],
        [[0.1, 0.2], [0.3, 0.4]],
        0.5,
        None,
        np.ma.masked_array([0.1, 0.2], mask=[True, False]),
    ],
)
def test_what_is_no_row_of_p_values_is_refused_by_name(procedure: Procedure, p: Any) -> None:
    with pytest.raises(ValueError, match=r"^p: "):
        procedure(p)
