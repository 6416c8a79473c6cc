"""What holds for the similarity of any cases."""

from __future__ import annotations

import math
import time
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.statistics.similarity import Codes, Kind, gower

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

KINDS: list[Kind] = ["number", "category", "asymmetric", "number"]
numbers = st.none() | st.just(math.nan) | st.integers(-5, 5) | st.floats(-1e308, 1e308)
cases = st.tuples(
    numbers,
    st.none() | st.sampled_from(["rca", "lad", ""]),
    st.none() | st.booleans() | st.integers(0, 1),
    numbers,
)
weights = st.lists(st.just(0.0) | st.floats(1e-6, 1e6), min_size=4, max_size=4).filter(any)


@given(cases, st.lists(cases, max_size=15), weights)
def test_it_is_from_0_to_1_or_not_comparable(query: Any, rows: list[Any], importance: list[float]) -> None:
    similarity = gower(query, rows, KINDS, importance)
    assert similarity.shape == (len(rows),)
    compared = similarity[~np.isnan(similarity)]
    assert ((compared >= 0) & (compared <= 1)).all()


@given(cases, cases, weights)
def test_it_is_the_same_from_either_side(one: Any, other: Any, importance: list[float]) -> None:
    there, back = gower(one, [other], KINDS, importance), gower(other, [one], KINDS, importance)
    assert there == pytest.approx(back, abs=1e-12, nan_ok=True)


@given(cases, st.lists(cases, max_size=15))
def test_a_case_is_wholly_like_itself_unless_nothing_of_it_counts(case: Any, rows: list[Any]) -> None:
    nothing = all(
        value is None or value != value or (place == 2 and not value) for place, value in enumerate(case)
    )
    similarity = gower(case, [case, *rows], KINDS)[0]
    assert math.isnan(similarity) if nothing else similarity == 1


@given(cases, st.lists(cases, min_size=1, max_size=15), weights)
def test_named_columns_say_the_same_as_rows(query: Any, rows: list[Any], importance: list[float]) -> None:
    names = ["age", "vessel", "stent", "length"]
    columns = dict(zip(names, zip(*rows, strict=True), strict=True))
    kinds = dict(zip(names, KINDS, strict=True))
    told, worth = dict(zip(names, query, strict=True)), dict(zip(names, importance, strict=True))
    assert np.array_equal(
        gower(told, columns, kinds, worth), gower(query, rows, KINDS, importance), equal_nan=True
    )


@given(cases, st.lists(cases, min_size=1, max_size=15), weights, st.sampled_from([0.25, 2.0, 1024.0]))
def test_only_the_ratio_of_weights_matters(
    query: Any, rows: list[Any], importance: list[float], by: float
) -> None:
    scaled = [weight * by for weight in importance]
    assert gower(query, rows, KINDS, scaled) == pytest.approx(
        gower(query, rows, KINDS, importance), nan_ok=True
    )


values = st.none() | st.just(math.nan) | st.sampled_from(["rca", "lad", "", 0, 1, 1.0, True, 2.5])
pairs = st.tuples(values, values)


@given(pairs, st.lists(pairs, max_size=15), st.tuples(st.floats(0, 5), st.floats(0.1, 5)))
def test_categories_kept_by_code_say_the_same_as_their_values(query: Any, rows: Any, importance: Any) -> None:
    kinds: dict[str, Kind] = {"vessel": "category", "place": "category"}
    plain = dict(zip(kinds, zip(*rows, strict=True) if rows else ((), ()), strict=True))
    by_code = {name: Codes.of(column) for name, column in plain.items()}
    told, worth = dict(zip(kinds, query, strict=True)), dict(zip(kinds, importance, strict=True))
    expected = gower(told, plain, kinds, worth)
    assert np.array_equal(gower(told, by_code, kinds, worth), expected, equal_nan=True)


@given(pairs, st.lists(pairs, max_size=15), st.tuples(st.floats(0.1, 5), st.floats(0.1, 5)))
def test_a_similarity_of_categories_is_the_weight_of_the_equal_among_those_known_of_both(
    query: Any, rows: Any, importance: Any
) -> None:
    for row, found in zip(rows, gower(query, rows, ["category", "category"], importance), strict=True):
        known = [
            (mine == other, weight)
            for mine, other, weight in zip(query, row, importance, strict=True)
            if mine is not None and other is not None and mine == mine and other == other
        ]
        if known:
            assert found == pytest.approx(sum(w for same, w in known if same) / sum(w for _, w in known))
        else:
            assert math.isnan(found)


def test_a_code_takes_a_byte_and_two_beyond_128_values() -> None:
    assert Codes.of([*range(128), None]).codes.nbytes == 129
    wide = Codes.of(range(129))
    assert wide.codes.nbytes == 2 * 129
    similarity = gower({"a": 128}, {"a": wide}, {"a": "category"})
    assert similarity.sum() == similarity[128] == 1


def test_columns_by_code_stand_for_categories_alone() -> None:
    column = Codes.of([1, 0])
    for kind in ("number", "asymmetric"):
        with pytest.raises(ValueError, match=r"^query and rows: a "):
            gower({"a": 1}, {"a": column}, {"a": kind})
    with pytest.raises(ValueError, match=r"^query and rows: a"):
        gower({"a": [1]}, {"a": column}, {"a": "category"})
    with pytest.raises(ValueError, match=r"^values: "):
        Codes.of([[1]])
    with pytest.raises(ValueError, match="read-only"):
        column.codes[0] = 1


def test_a_missing_value_leaves_its_variable_out_for_that_row_alone() -> None:
    rows: list[list[Any]] = [[40, "a"], [None, "a"], [60, None], [math.nan, None]]
    similarity = gower([40, "a"], rows, ["number", "category"])
    assert similarity[:3].tolist() == [1, 1, 0]
    assert math.isnan(similarity[3])


def test_a_variable_that_never_differs_counts_as_alike() -> None:
    rows: list[list[Any]] = [[5, "b"], [5, "a"]]
    assert gower([5, "a"], rows, ["number", "category"]).tolist() == [0.5, 1]


def test_a_given_range_of_0_makes_every_difference_a_whole_one() -> None:
    assert gower([5], [[5], [6]], ["number"], ranges=[0]).tolist() == [1, 0]


def test_a_difference_beyond_a_given_range_is_no_less_than_no_similarity() -> None:
    assert gower([0], [[5], [20]], ["number"], ranges=[10]).tolist() == [0.5, 0]


def test_no_rows_have_no_similarity() -> None:
    assert gower([1], [], ["number"]).tolist() == []
    assert gower({"age": 1}, {"age": []}, {"age": "number"}).tolist() == []


def test_a_table_of_numbers_may_be_an_array() -> None:
    assert gower(np.array([0, 1]), np.array([[0, 1], [2, 5]]), ["number", "number"]).tolist() == [1, 0]


def test_categories_may_be_anything_that_has_a_fixed_value() -> None:
    rows: list[list[Any]] = [[("rca", 2)], [("rca", 1)]]
    assert gower([("rca", 2)], rows, ["category"]).tolist() == [1, 0]


def test_a_hundred_thousand_rows_take_less_than_a_second() -> None:
    random = np.random.default_rng(1971)
    size = 100_000
    columns = {
        "age": random.normal(65, 10, size),
        "vessel": random.choice(["lm", "lad", "lcx", "rca"], size),
        "stent": random.integers(0, 2, size),
        "length": random.integers(8, 48, size).astype(object),
    }
    kinds: dict[str, Kind] = dict(zip(columns, ["number", "category", "asymmetric", "number"], strict=True))
    query = {"age": 70, "vessel": "rca", "stent": True, "length": None}
    begun = time.perf_counter()
    assert gower(query, columns, kinds).shape == (size,)
    assert time.perf_counter() - begun < 1


@pytest.mark.parametrize(
    ("query", "rows", "kinds", "named"),
    [
        ([1], [[1]], [], "kinds"),
        ([1], [[1]], "number", "kinds"),
        ([1], [[1]], ["ordinal"], "kinds"),
        ([1], [[1]], None, "kinds"),
        ([1, 2], [[1]], ["number"], "query"),
        ("1", [[1]], ["number"], "query"),
        (None, [[1]], ["number"], "query"),
        ({"age": 1}, {"age": [1], "sex": ["f"]}, {"age": "number", "sex": "category"}, "query"),
        ({"age": 1}, {"year": [1]}, {"age": "number"}, "rows"),
        ({"age": 1}, {"age": np.ma.masked_array([1, 2], mask=[True, False])}, {"age": "number"}, "rows"),
        ({"a": 1, "b": 1}, {"a": [1], "b": [1, 2]}, {"a": "number", "b": "number"}, "rows"),
        ([1], [[1], [1, 2]], ["number"], "rows"),
        ([1], [1], ["number"], "rows"),
        ([1], ["1"], ["number"], "rows"),
        ([1], 5, ["number"], "rows"),
        (["1"], [[1]], ["number"], "query and rows"),
        ([1], [["1"]], ["number"], "query and rows"),
        ([True], [[True]], ["number"], "query and rows"),
        ([1], [[math.inf]], ["number"], "query and rows"),
        ([1], [[[1, 2]]], ["number"], "query and rows"),
        (["a"], [[["a"]]], ["category"], "query and rows"),
        ([1], [[2]], ["asymmetric"], "query and rows"),
        (["yes"], [[1]], ["asymmetric"], "query and rows"),
        ([1], np.ma.masked_array([[1], [2]], mask=[[True], [False]]), ["number"], "query and rows"),
    ],
)
def test_what_cannot_be_compared_is_refused_by_name(query: Any, rows: Any, kinds: Any, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        gower(query, rows, kinds)


@pytest.mark.parametrize(
    "importance",
    [[1], [1, -1], [0, 0], [1, math.nan], [1, math.inf], ["1", "2"], [True, True], "11", {"a": 1}],
)
def test_weights_that_are_none_are_refused_by_name(importance: Any) -> None:
    with pytest.raises(ValueError, match=r"^weights: "):
        gower([1, 2], [[1, 2]], ["number", "number"], importance)


@pytest.mark.parametrize("ranges", [[1], [-1, 1], [math.nan, 1], ["1", 1], [[1, 2], 1], 5])
def test_ranges_that_are_none_are_refused_by_name(ranges: Any) -> None:
    with pytest.raises(ValueError, match=r"^ranges: "):
        gower([1, 2], [[1, 2]], ["number", "number"], ranges=ranges)


@pytest.mark.parametrize("told", [0, 3, 2.0, True, None, math.nan, "3", 2**60], ids=repr)
@pytest.mark.parametrize("missing", [False, True])
def test_categories_in_an_array_of_numbers_score_as_they_do_in_a_list(told: object, missing: bool) -> None:
    column = np.random.default_rng(4).integers(0, 5, 60).astype(float if missing else np.int64)
    if missing:
        column[::7] = np.nan
    kinds: dict[str, Kind] = {"what": "category", "beside": "category"}
    rows = {"what": column, "beside": column[::-1]}
    listed = {name: values.astype(object).tolist() for name, values in rows.items()}
    query = {"what": told, "beside": 1}
    np.testing.assert_array_equal(gower(query, rows, kinds), gower(query, listed, kinds))
