"""Fisher's exact and the mid-p values of two-by-two tables against published and recomputed figures.

Status of a figure: *seen* in a public copy or repository; *from memory*, recalled and not seen; *recomputed*, in exact
fractions and with SciPy 1.17.
"""

from __future__ import annotations

from fractions import Fraction
from math import comb

import numpy as np
import pytest
from scipy import stats

from analytics.statistics.comparisons import fisher_exact, mid_p_of_table

pytestmark = pytest.mark.pure

SIX_DECIMALS = 5.01e-7  # half a unit of the sixth decimal, and rounding

# All recomputed. Seen: the tea as .486 and .257 (Hwang & Yang 2001, p. 810, in a test of the R package coin) and as
# .25714, Perondi as .02966 and the third table as .09193139 (tests of the R package contingencytables, which follows
# Fagerland, Lydersen & Laake), the diet's observed probability .0013461 in a public test. The fifth is constructed;
# the last two are Eggebrecht et al., Catheter Cardiovasc Interv 2000;51:432 (printed: P<0.01; the counts seen).
TABLES = [
    # table, Fisher's p-value, mid-p with ties halved, with the observed one halved
    ([[3, 1], [1, 3]], 0.485714, 0.257143, 0.371429),
    ([[7, 27], [1, 33]], 0.054400, 0.029656, 0.042028),
    ([[745, 3], [127, 2]], 0.159027, 0.091931, 0.091931),
    ([[1, 9], [11, 3]], 0.002759, 0.001413, 0.002086),
    ([[4, 0], [0, 4]], 0.028571, 0.014286, 0.021429),
    ([[12, 1135], [8, 2911]], 0.004161, None, None),
    ([[3, 4], [7, 3]], 0.349959, None, None),
]


@pytest.mark.parametrize(("table", "exact", "ties_halved", "observed_halved"), TABLES)
def test_published_tables_have_their_p_values(
    table: list[list[int]], exact: float, ties_halved: float | None, observed_halved: float | None
) -> None:
    assert fisher_exact(table) == pytest.approx(exact, abs=SIX_DECIMALS)
    for convention, expected in (("ties_halved", ties_halved), ("observed_halved", observed_halved)):
        if expected is not None:
            found = mid_p_of_table(table, convention)
            assert found.p_value == pytest.approx(expected, abs=SIX_DECIMALS)
            assert found.convention == convention


def test_the_lady_tasting_tea_in_fractions() -> None:
    """Fisher 1935: 34/70 two-sided, which is twice 17/70 one-sided (from memory, recomputed); mid-p 18/70."""
    assert fisher_exact([[3, 1], [1, 3]]) == pytest.approx(2 * 17 / 70, rel=1e-12)
    assert mid_p_of_table([[3, 1], [1, 3]]).p_value == pytest.approx(18 / 70, rel=1e-12)


def test_the_conventions_of_mid_p_are_half_of_the_observed_probability_apart_from_fishers() -> None:
    """The diet: .0013461 (seen); one-sided .001380 is recomputed."""
    table = [[1, 9], [11, 3]]
    observed = 2 * (fisher_exact(table) - mid_p_of_table(table, "observed_halved").p_value)
    assert observed == pytest.approx(0.0013461, abs=5e-8)
    assert fisher_exact(table) == pytest.approx(
        2 * 0.001380, abs=1e-6
    )  # equal margins: both tails are the same


def test_printed_p_values_of_the_trade_are_reproduced() -> None:
    """7/1,142 and 12/2,476, "P=.6" (DOI 10.1093/ehjci/jew037, seen): Fisher .6253, recomputed.

    11/15 and 63/67, "P=.015" (an abstract, seen), is the chi-square test: Fisher's is .0337.
    """
    assert fisher_exact([[7, 1135], [12, 2464]]) == pytest.approx(0.6253, abs=5e-5)
    assert fisher_exact([[11, 4], [63, 4]]) == pytest.approx(0.0337, abs=5e-5)


def in_exact_fractions(table: list[list[int]]) -> tuple[Fraction, Fraction, Fraction]:
    """Fisher's p-value and both mid-p values, from binomial coefficients: ties are ties there."""
    (a, b), (c, d) = table
    cells = range(max(0, a - d), min(a + b, a + c) + 1)
    ways = {cell: comb(a + b, cell) * comb(c + d, a + c - cell) for cell in cells}
    total, observed = sum(ways.values()), ways[a]
    less = sum(way for way in ways.values() if way < observed)
    equal = sum(way for way in ways.values() if way == observed)
    exact = Fraction(less + equal, total)
    return exact, exact - Fraction(equal, 2 * total), exact - Fraction(observed, 2 * total)


def test_random_tables_have_the_p_values_of_exact_fractions() -> None:
    """Recomputed here with whole numbers, 1,000 tables; a third have equal margins, hence ties."""
    random = np.random.default_rng(1935)
    tables = random.integers(0, 30, size=(1000, 2, 2))
    tables[::3, 1] = tables[::3, 0, ::-1]
    expected = np.array(
        [[float(value) for value in in_exact_fractions(table.tolist())] for table in tables]
    ).T
    assert fisher_exact(tables) == pytest.approx(expected[0], rel=1e-10)
    assert mid_p_of_table(tables).p_value == pytest.approx(expected[1], rel=1e-10)
    assert mid_p_of_table(tables, "observed_halved").p_value == pytest.approx(expected[2], rel=1e-10)
    assert np.count_nonzero(expected[2] - expected[1] > 1e-9) > 300


def test_scipy_gives_the_same_p_values_for_large_random_tables() -> None:
    """Recomputed here with `scipy.stats.fisher_exact`, 300 tables of up to 10,000 in a cell."""
    random = np.random.default_rng(1922)
    tables = np.rint(10 ** random.uniform(0, 4, size=(300, 2, 2))).astype(int)
    theirs = [stats.fisher_exact(table).pvalue for table in tables]
    assert fisher_exact(tables) == pytest.approx(np.array(theirs), rel=1e-6, abs=1e-14)
