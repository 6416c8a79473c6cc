"""Differences and proportions over strata against published and recomputed figures.

Status of a figure: *seen* in a public copy or repository; *recomputed* from the printed formulas in exact fractions;
*constructed*, an arithmetic example without a publication.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from analytics.statistics.comparisons import directly_standardised, mantel_haenszel_difference
from analytics.statistics.proportions import newcombe_difference, wilson

pytestmark = pytest.mark.pure

# Deaths of those treated and of those not, under 55 and from 55 years: Rothman, Greenland & Lash, Modern Epidemiology,
# 3rd edition 2008, Table 15-1; seen in the tests of the R package metafor.
AGES = ([8, 22], [106, 98], [5, 16], [120, 85])

# Constructed: technique A succeeds in 40/50 as the first and 2/10 as the third attempt, B in 9/10 and 20/50.
ORDERS = ([40, 2], [50, 10], [9, 20], [10, 50])


def test_the_textbook_example_of_mantel_and_haenszels_difference_is_reproduced() -> None:
    """metafor's `rma.mh` gives .0349 (-.0176 to .0874) at 90 % by the same variance: seen.

    The book's own upper limit is .088, by another variance or rounding.
    """
    found = mantel_haenszel_difference(*AGES, confidence=0.90)
    assert found[:3] == pytest.approx((0.0349, -0.0176, 0.0874), abs=5e-5)
    assert [int(count) for count in (found.strata, found.n1, found.n2)] == [2, 204, 205]


def test_order_of_attempts_reverses_a_crude_comparison() -> None:
    """Constructed; recomputed: crude +.216667 (.040823 to .374740), within orders -.15."""
    x1, n1, x2, n2 = (sum(counts) for counts in ORDERS)
    crude = newcombe_difference(x1, n1, x2, n2)
    assert crude == pytest.approx((0.216667, 0.040823, 0.374740), abs=5e-7)
    assert mantel_haenszel_difference(*ORDERS).difference == pytest.approx(-0.15, rel=1e-12)


def test_an_equal_mix_of_orders_reverses_it_too() -> None:
    """Constructed; recomputed: .50 against .65, beside crude .70 against .48."""
    a = directly_standardised(*ORDERS[:2], weights=[1, 1])
    b = directly_standardised(*ORDERS[2:], weights=[1, 1])
    assert (a.estimate, b.estimate) == pytest.approx((0.50, 0.65), rel=1e-12)
    assert a.variance == pytest.approx(0.25 * (0.8 * 0.2 / 50 + 0.2 * 0.8 / 10), rel=1e-12)


def by_satos_formulas(rows: list[tuple[int, int, int, int]]) -> tuple[Fraction, Fraction]:
    """Sato, Greenland & Robins 1989: R = Σ(a n2 - c n1)/N, W = Σ n1 n2/N, variance (D ΣP + ΣQ)/W²."""
    weight = sum((Fraction(n1 * n2, n1 + n2) for _a, n1, _c, n2 in rows), Fraction())
    difference = sum(Fraction(a * n2 - c * n1, n1 + n2) for a, n1, c, n2 in rows) / weight
    p = sum(
        Fraction(2 * (n1 * n1 * c - n2 * n2 * a) + n1 * n2 * (n2 - n1), 2 * (n1 + n2) ** 2)
        for a, n1, c, n2 in rows
    )
    q = sum(Fraction(a * (n2 - c) + c * (n1 - a), 2 * (n1 + n2)) for a, n1, c, n2 in rows)
    return difference, (difference * p + q) / weight**2


def test_random_strata_have_the_difference_and_variance_of_the_printed_formulas() -> None:
    """Recomputed here in exact fractions, 500 random sets of 1 to 5 strata."""
    random = np.random.default_rng(1989)
    for _each in range(500):
        n1, n2 = random.integers(1, 20, size=(2, int(random.integers(1, 6))))
        x1, x2 = random.integers(0, n1 + 1), random.integers(0, n2 + 1)
        rows = list(zip(x1.tolist(), n1.tolist(), x2.tolist(), n2.tolist(), strict=True))
        difference, variance = by_satos_formulas(rows)
        found = mantel_haenszel_difference(x1, n1, x2, n2)
        assert found.difference == pytest.approx(float(difference), abs=1e-12)
        assert found.variance == pytest.approx(float(variance), rel=1e-9, abs=1e-14)


def test_the_steps_of_the_textbook_example_are_those_of_the_formulas() -> None:
    rows = list(zip(*AGES, strict=True))
    difference, variance = by_satos_formulas(rows)
    assert float(difference) == pytest.approx(0.0349, abs=5e-5)
    assert float(variance) ** 0.5 * 1.644854 == pytest.approx(0.0349 + 0.0176, abs=1e-4)


# Newcombe, Stat Med 1998;17:873-890, Table II, rows (a) to (d): counts as printed, see `test_newcombe.py`.
@pytest.mark.parametrize(
    ("x1", "n1", "x2", "n2", "printed"),
    [
        (56, 70, 48, 80, (0.0524, 0.3339)),
        (9, 10, 3, 10, (0.1705, 0.8090)),
        (6, 7, 2, 7, (0.0582, 0.8062)),
        (5, 56, 0, 29, (-0.0381, 0.1926)),
    ],
)
def test_limits_of_two_equal_strata_are_newcombes_of_a_difference(
    x1: int, n1: int, x2: int, n2: int, printed: tuple[float, float]
) -> None:
    """(p1 + (1 - p2))/2 is (difference + 1)/2: published limits of a difference check the standardised ones."""
    found = directly_standardised([x1, n2 - x2], [n1, n2], weights=[1, 1])
    assert (2 * found.lower - 1, 2 * found.upper - 1) == pytest.approx(printed, abs=6e-5)


def test_limits_of_one_stratum_are_wilsons() -> None:
    assert directly_standardised([81], [263], weights=[7])[1:3] == pytest.approx(wilson(81, 263), rel=1e-12)
