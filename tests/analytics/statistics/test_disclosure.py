"""Classes of people, hidden cells and what can be worked out from them, for any table."""

from __future__ import annotations

import math
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from analytics.statistics.disclosure import (
    attack,
    class_sizes,
    difference_leaks,
    l_diversity,
    percentage_leaks,
    proportion_leaks,
    suppress_small_cells,
)

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

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


@given(tables, st.data())
def test_diversity_is_that_of_the_values_in_a_rows_class(columns: dict[str, list[Any]], data: Any) -> None:
    rows = list(zip(*columns.values(), strict=True))
    sensitive = data.draw(st.lists(values, min_size=len(rows), max_size=len(rows)))
    result = l_diversity(columns, sensitive)
    held = [[told for other, told in zip(rows, sensitive, strict=True) if other == row] for row in rows]
    assert result.distinct.tolist() == [len(set(each)) for each in held]
    assert (result.entropy >= 1).all()
    assert (result.entropy <= result.distinct).all()
    assert (result.distinct <= class_sizes(columns)).all()


def test_entropy_is_the_count_where_all_are_equally_frequent_and_less_where_not() -> None:
    even = l_diversity({"year": [1] * 4}, ["a", "b", "a", "b"])
    assert even.entropy == pytest.approx([2] * 4)
    uneven = l_diversity({"year": [1] * 4}, ["a", "b", "a", "a"])
    assert uneven.entropy == pytest.approx([math.exp(0.75 * math.log(4 / 3) + 0.25 * math.log(4))] * 4)
    assert uneven.distinct.tolist() == [2] * 4


@pytest.mark.parametrize("sensitive", [["a"], "ab", [math.nan, 1], [[1], [2]], 5, None])
def test_sensitive_values_that_are_none_are_refused(sensitive: Any) -> None:
    with pytest.raises(ValueError, match=r"^sensitive: "):
        l_diversity({"age": [1, 2]}, sensitive)


def margins_of(table: Any) -> Any:
    return table.sum() if table.ndim == 1 else (table.sum(axis=1), table.sum(axis=0))


counted = st.sampled_from([0, 1, 3, 7, 10, 11, 12, 25, 60]) | st.integers(0, 80)
small_tables = arrays.arrays(
    np.int64, st.tuples(st.integers(1, 4), st.integers(1, 4)) | st.tuples(st.integers(0, 6)), elements=counted
)
wide_tables = arrays.arrays(np.int64, st.tuples(st.integers(4, 7), st.integers(4, 7)), elements=counted)


def assert_protected(table: Any, result: Any) -> None:
    """Small cells are hidden, others as they were, and the attack tells or bounds none of those hidden."""
    hidden = np.ma.getmaskarray(result)
    assert hidden[(table > 0) & (table < 11)].all()
    assert np.array_equal(result.data, np.where(hidden, 0, table))
    totals = table.sum() if table.ndim == 1 else np.concatenate(margins_of(table))
    if hidden.any() and ((totals > 0) & (totals < 11)).any():
        assert hidden.all()
        return
    lower, upper = attack(result, margins_of(table))
    assert (lower <= table).all()
    assert (table <= upper).all()
    assert (lower < upper)[hidden].all()
    assert (upper >= 11)[hidden].all()


@given(small_tables)
def test_no_hidden_cell_of_a_small_table_leaks(table: Any) -> None:
    assert_protected(table, suppress_small_cells(table))


@given(wide_tables)
def test_no_hidden_cell_of_a_table_too_large_to_search_leaks(table: Any) -> None:
    assert_protected(table, suppress_small_cells(table))


@given(arrays.arrays(np.int64, st.tuples(st.integers(2, 3), st.integers(2, 3)), elements=st.integers(0, 30)))
def test_no_pattern_that_hides_less_of_a_small_table_protects_it(table: Any) -> None:
    small = (table > 0) & (table < 11)
    hidden = np.ma.getmaskarray(suppress_small_cells(table))
    extra = table[hidden & ~small].sum()
    places = np.argwhere(~small)
    for size in range(len(places) if extra > 0 and not hidden.all() else 0):
        for chosen in combinations(range(len(places)), size):
            tried = small.copy()
            tried[tuple(places[list(chosen)].T)] = True
            if table[tried & ~small].sum() < extra and not alone_in_a_line(tried):
                lower, upper = attack(np.ma.MaskedArray(table, mask=tried), margins_of(table))
                assert ((lower == upper) | (upper < 11))[tried].any()


def alone_in_a_line(hidden: Any) -> bool:
    return bool((hidden.sum(axis=0) == 1).any() or (hidden.sum(axis=1) == 1).any())


@given(arrays.arrays(np.int64, (3, 3), elements=st.integers(11, 60)), st.integers(1, 10))
def test_one_small_cell_among_large_ones_costs_no_more_than_the_cheapest_rectangle(
    table: Any, small: int
) -> None:
    """Then every rectangle protects; five small others may hide less than three large ones."""
    table[0, 0] = small
    hidden = np.ma.getmaskarray(suppress_small_cells(table))
    rectangles = [table[0, j] + table[i, 0] + table[i, j] for i in (1, 2) for j in (1, 2)]
    assert hidden[0, 0] and not alone_in_a_line(hidden)
    assert table[hidden].sum() - small <= min(rectangles)


@given(st.lists(st.integers(0, 80), max_size=8))
def test_a_row_hides_at_most_one_cell_that_is_not_small_and_the_smallest_such(row: list[int]) -> None:
    table = np.array(row, dtype=np.int64)
    hidden = np.ma.getmaskarray(suppress_small_cells(table))
    if 0 < table.sum() < 11:
        assert hidden.all()
        return
    extra = table[hidden & ((table == 0) | (table >= 11))]
    assert extra.tolist() in ([], [table[table >= 11].min(initial=1000)])


def test_a_table_without_small_cells_is_shown_whole() -> None:
    result = suppress_small_cells([[0, 11], [40, 12]])
    assert not np.ma.getmaskarray(result).any()
    assert result.tolist() == [[0, 11], [40, 12]]


def test_a_small_total_hides_everything() -> None:
    assert suppress_small_cells([[3, 0], [0, 50]]).mask.all()
    assert suppress_small_cells([4, 5]).mask.all()


def test_an_empty_table_stays_empty() -> None:
    assert suppress_small_cells([]).tolist() == []


def test_another_minimum_may_be_asked_for() -> None:
    assert suppress_small_cells([4, 5, 30], minimum=5).mask.tolist() == [True, True, False]


def test_what_lies_beneath_a_hidden_cell_is_not_its_count() -> None:
    assert suppress_small_cells([7, 40, 12]).data.tolist() == [0, 40, 0]


@pytest.mark.parametrize(
    ("published", "upper"), [(([53, 54, 55], None), 19), ((None, [71, 41, 50]), 7), ((None, None), math.inf)]
)
def test_a_total_that_is_not_published_tells_less(published: Any, upper: float) -> None:
    table = np.ma.masked_inside([[34, 7, 12], [21, 15, 18], [16, 19, 20]], 7, 12)
    assert attack(table, published).upper[0, 1] == upper


def test_nothing_hidden_leaves_nothing_to_find() -> None:
    lower, upper = attack([[1, 2], [3, 4]], ([3, 7], [4, 6]))
    assert lower.tolist() == upper.tolist() == [[1, 2], [3, 4]]


HIDDEN = np.ma.MaskedArray([[1, 2], [3, 4]], mask=[[True, False], [False, False]])


@pytest.mark.parametrize(
    ("masked", "margins", "named"),
    [
        (HIDDEN, ([3, 7], [5, 6]), "margins"),
        (HIDDEN, ([1, 7], None), "margins"),
        (HIDDEN, ([3], [4, 6]), "margins"),
        (HIDDEN, [3, 7, 4], "margins"),
        (HIDDEN, 10, "margins"),
        (HIDDEN, "12", "margins"),
        (HIDDEN, ([3, -7], [4, 6]), "margins"),
        (HIDDEN, ([3.5, 7], [4, 6]), "margins"),
        (HIDDEN, (["3", "7"], [4, 6]), "margins"),
        ([1, 2], 4, "margins"),
        ([[[1]]], 1, "masked"),
        (5, 5, "masked"),
        ([1, -2], 1, "masked"),
        ([True], 1, "masked"),
        ([[1], [1, 2]], 1, "masked"),
        (np.ma.MaskedArray(["a", "b"], mask=[True, False]), 1, "masked"),
    ],
)
def test_tables_and_totals_that_make_no_sense_are_refused(masked: Any, margins: Any, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        attack(masked, margins)


@given(arrays.arrays(np.int64, 5, elements=counted), arrays.arrays(np.int64, 5, elements=counted))
def test_a_difference_leaks_either_way_round(one: Any, other: Any) -> None:
    leaks = difference_leaks(one, other)
    assert leaks.tolist() == [0 < abs(a - b) < 11 for a, b in zip(one, other, strict=True)]
    assert np.array_equal(leaks, difference_leaks(other, one))


def test_what_is_hidden_in_one_of_two_releases_does_not_leak_by_their_difference() -> None:
    first = np.ma.MaskedArray([20, 20], mask=[True, False])
    assert difference_leaks(first, [15, 15]).tolist() == [False, True]
    assert difference_leaks([15, 15], first).tolist() == [False, True]


@given(st.integers(0, 60), st.integers(0, 60), st.integers(2, 20))
def test_a_proportion_leaks_the_same_from_its_complement(won: int, lost: int, minimum: int) -> None:
    leaks = proportion_leaks(won, won + lost, minimum)
    assert leaks == proportion_leaks(lost, won + lost, minimum)
    assert leaks == any(0 < count < minimum for count in (won, lost, won + lost))


@given(st.integers(0, 400), st.integers(1, 400), st.integers(0, 3))
def test_a_percentage_leaks_where_every_count_behind_it_does(won: int, trials: int, decimals: int) -> None:
    won = min(won, trials)
    percentage = round(100 * won / trials, decimals)
    half = 0.5 * 10**-decimals + 1e-9
    behind = [count for count in range(trials + 1) if abs(100 * count / trials - percentage) <= half]
    expected = all(proportion_leaks(count, trials) for count in behind)
    assert percentage_leaks(percentage, trials, decimals) == expected


def test_a_percentage_of_very_many_tells_no_small_count() -> None:
    assert not percentage_leaks(0.0, 10**12)


@pytest.mark.parametrize("wrong", [-1, 0.5, math.nan, math.inf, "1", True, None, [[1], [1, 2]], [[[1]]]])
def test_counts_that_are_none_are_refused_by_name(wrong: Any) -> None:
    with pytest.raises(ValueError, match=r"^table: "):
        suppress_small_cells(wrong)
    if wrong != [[[1]]]:
        with pytest.raises(ValueError, match=r"^first: "):
            difference_leaks(wrong, 1)
        with pytest.raises(ValueError, match=r"^second: "):
            difference_leaks(1, wrong)
        with pytest.raises(ValueError, match=r"^successes: "):
            proportion_leaks(wrong, 1)
        with pytest.raises(ValueError, match=r"^trials: "):
            proportion_leaks(0, wrong)


def test_a_table_with_masked_cells_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^table: holds masked values"):
        suppress_small_cells(HIDDEN)


@pytest.mark.parametrize("minimum", [1, 0, -11, 11.0, "11", True, None])
def test_a_minimum_that_hides_nothing_is_refused_by_name(minimum: Any) -> None:
    for check in (
        lambda: suppress_small_cells([1], minimum),
        lambda: difference_leaks(1, 1, minimum),
        lambda: proportion_leaks(1, 1, minimum),
        lambda: percentage_leaks(50, 2, 0, minimum),
    ):
        with pytest.raises(ValueError, match=r"^minimum: "):
            check()


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ((101, 50), "percentage and trials"),
        ((-1, 50), "percentage"),
        (("13", 50), "percentage"),
        (([1, 2], 50), "percentage and trials"),
        ((10, 0.5), "trials"),
        ((10, 0), "percentage"),
        ((13.3, 53), "percentage"),
        ((10, 50, -1), "decimals"),
        ((10, 50, 1.0), "decimals"),
    ],
)
def test_percentages_that_no_count_makes_are_refused_by_name(arguments: Any, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        percentage_leaks(*arguments)


def test_unequal_shapes_and_more_successes_than_trials_are_refused() -> None:
    with pytest.raises(ValueError, match=r"^first and second: "):
        difference_leaks([1, 2], [1, 2, 3])
    with pytest.raises(ValueError, match=r"^successes: must not be above trials"):
        proportion_leaks(2, 1)
