"""Class sizes of k-anonymity, for any columns."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.statistics.disclosure import class_sizes

pytestmark = pytest.mark.pure

values = st.none() | st.booleans().map(str) | st.integers(0, 2) | st.sampled_from(["a", "b", ""])
tables = st.integers(0, 30).flatmap(
    lambda rows: st.dictionaries(
        st.sampled_from(["age", "sex", "year"]),
        st.lists(values, min_size=rows, max_size=rows),
        min_size=1,
    )
)


@given(tables)
def test_a_rows_size_is_the_number_of_rows_that_equal_it(columns: dict[str, list[Any]]) -> None:
    rows = list(zip(*columns.values(), strict=True))
    assert class_sizes(columns).tolist() == [sum(row == other for other in rows) for row in rows]


@given(tables)
def test_sizes_are_whole_numbers_and_their_inverses_add_up_to_the_number_of_classes(
    columns: dict[str, list[Any]],
) -> None:
    sizes = class_sizes(columns)
    assert sizes.dtype == np.int64
    assert float((1 / sizes).sum()) == pytest.approx(len(set(zip(*columns.values(), strict=True))))


@given(tables)
def test_a_further_column_never_makes_a_class_larger(columns: dict[str, list[Any]]) -> None:
    rows = len(next(iter(columns.values())))
    finer = {**columns, "further": [number % 3 for number in range(rows)]}
    assert (class_sizes(finer) <= class_sizes(columns)).all()


def test_no_rows_have_no_sizes() -> None:
    assert class_sizes({"age": []}).tolist() == []


def test_a_missing_value_is_a_value_like_any_other() -> None:
    assert class_sizes({"age": [None, None, "unknown"]}).tolist() == [2, 2, 1]


def test_arrays_are_read_like_lists() -> None:
    assert class_sizes({"year": np.array([2024, 2024, 2025])}).tolist() == [2, 2, 1]


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({}, "columns: at least one is needed"),
        ({"age": [1], "sex": []}, "columns: must have the same length, but age has 1, sex has 0"),
        ({"sex": "female"}, "columns: sex is one text"),
        ({"age": [float("nan")]}, "columns: age holds NaN"),
        ({"age": [[1]]}, "columns: age holds list"),
        ({"age": np.ma.masked_array([1, 2], mask=[False, True])}, "columns: age holds masked values"),
    ],
)
def test_what_cannot_be_compared_is_refused(columns: Any, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        class_sizes(columns)
