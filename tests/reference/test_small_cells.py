"""Hiding small counts: the published rule, its arithmetic, and the worked table.

Status of a figure: *seen* in a public copy; *constructed* from the rule, an arithmetic example without a
publication; *recomputed* here. The rule: CMS Cell Size Suppression Policy, versions of 8 May 2017 and
26 January 2024, seen: no count of 1 to 10 may be shown or derivable; 0 may be shown.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from analytics.statistics.disclosure import (
    attack,
    difference_leaks,
    percentage_leaks,
    proportion_leaks,
    suppress_small_cells,
)

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

TABLE = np.array([[34, 7, 12], [21, 15, 18], [16, 13, 14]])
"""Constructed: snare, balloon, two-wire by three outcomes; row totals 53 54 43, column totals 71 35 44."""

MARGINS = ([53, 54, 43], [71, 35, 44])


def hiding(*values: int) -> np.ma.MaskedArray:
    """The table without the cells of these values, each of which it holds once."""
    return np.ma.MaskedArray(TABLE, mask=np.isin(TABLE, values))


def range_of_the_7(*hidden: int) -> list[float]:
    found = attack(hiding(7, *hidden), MARGINS)
    return [found.lower[0, 1], found.upper[0, 1]]


@pytest.mark.parametrize("hidden", [(), (12,), (13,), (12, 13)])
def test_too_few_hidden_cells_leave_the_small_one_exposed(hidden: tuple[int, ...]) -> None:
    """Constructed, recomputed by linear programming: row only, column only and three cells all give 7 to 7."""
    assert range_of_the_7(*hidden) == [7, 7]


def test_the_rectangle_hides_it_from_0_to_19() -> None:
    """Constructed, recomputed by linear programming."""
    assert range_of_the_7(12, 13, 14) == [0, 19]


def test_the_table_loses_the_four_cells_that_cost_least() -> None:
    result = suppress_small_cells(TABLE)
    assert sorted(TABLE[result.mask].tolist()) == [7, 12, 13, 14]
    assert result.compressed().tolist() == [34, 21, 15, 18, 16]


def test_no_other_pattern_of_the_table_costs_less() -> None:
    """Constructed, recomputed by trying all sets of up to four more cells: 39 is least, 45 is next."""
    protecting = {}
    others = [int(value) for value in TABLE.ravel() if value != 7]
    for size in range(5):
        for extra in combinations(others, size):
            if sum(extra) > 45:
                continue
            lower, upper = attack(hiding(7, *extra), MARGINS)
            hidden = np.isin(TABLE, (7, *extra))
            if ((lower < upper) & (upper >= 11))[hidden].all():
                protecting[extra] = sum(extra)
    assert protecting == {(12, 13, 14): 39, (12, 15, 18): 45}


def test_the_audit_finds_no_single_value_and_none_that_must_be_small() -> None:
    """The audit of FCSM Statistical Policy Working Paper 22: method from memory, figures recomputed."""
    result = suppress_small_cells(TABLE)
    lower, upper = attack(result, MARGINS)
    assert lower[result.mask].tolist() == [0, 0, 1, 7]
    assert upper[result.mask].tolist() == [19, 19, 20, 26]


@pytest.mark.parametrize(
    ("successes", "trials", "leaks"),
    [(50, 57, True), (46, 57, False), (0, 30, False), (30, 30, False), (8, 8, True), (7, 53, True)],
)
def test_complements_and_denominators_leak_too(successes: int, trials: int, leaks: bool) -> None:
    """Constructed from the rule: 50 of 57 tells 7; 46 of 57 tells 11; 8 of 8 is itself a group of 8."""
    assert proportion_leaks(successes, trials) == leaks


def test_a_percentage_leaks_where_one_count_alone_rounds_to_it() -> None:
    """Constructed, recomputed: of 53, only 7 rounds to 13.2 %."""
    assert [count for count in range(54) if abs(100 * count / 53 - 13.2) <= 0.05] == [7]
    assert percentage_leaks(13.2, 53)


def test_a_percentage_whose_count_is_large_enough_may_be_shown() -> None:
    """Constructed: 20.8 % of 53 is 11, and 42 are left."""
    assert not percentage_leaks(20.8, 53)


def test_all_sites_less_one_tells_the_one() -> None:
    """Constructed from the rule: 120 with a site, 113 without it."""
    assert difference_leaks(120, 113)
    assert not difference_leaks(120, 109)
    assert not difference_leaks(120, 120)


def test_0_is_shown_and_10_is_not() -> None:
    """The boundary of the published rule: 1 to 10 hidden, 0 and 11 shown where nothing else needs hiding."""
    result = suppress_small_cells([[0, 40, 50], [10, 11, 60], [9, 30, 70]])
    assert result.mask.tolist() == [[False, False, False], [True, True, False], [True, True, False]]
