"""Kappa against published tables, exact fractions and statsmodels.

Status of a figure: *seen* in a public copy; *from memory* where no copy was seen; *recomputed* here.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from statsmodels.stats.inter_rater import cohens_kappa

from analytics.statistics.agreement import cohen_kappa, prevalence_bias_adjusted_kappa

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

COHEN_1968 = [[88, 14, 18], [10, 40, 10], [2, 6, 12]]
FLEISS_1969 = [[106, 10, 4], [22, 28, 10], [2, 12, 6]]


def test_cohens_table_of_diagnoses() -> None:
    """Cohen, Psychol Bull 1968;70:213-220, Table 1: 200 cases; table, .492 and .348 seen in a package's manual.

    His weights count disagreement: 0 1 3, 1 0 6, 3 6 0; 1 less a sixth of them is the same as credit.
    """
    credit = 1 - np.array([[0, 1, 3], [1, 0, 6], [3, 6, 0]]) / 6
    assert round(cohen_kappa(COHEN_1968).kappa, 3) == 0.492
    assert round(cohen_kappa(COHEN_1968, credit).kappa, 3) == 0.348


def test_weights_that_differ_by_rater() -> None:
    """Cohen 1968: with disagreement weights 0 1 4, 1 0 6, 2 2 0 it is .353; seen in the same manual."""
    credit = 1 - np.array([[0, 1, 4], [1, 0, 6], [2, 2, 0]]) / 6
    assert round(cohen_kappa(COHEN_1968, credit).kappa, 3) == 0.353


def test_the_standard_errors_of_fleiss_cohen_and_everitt() -> None:
    """Psychol Bull 1969;72:323-327: table and weights seen in a manual, results from memory and recomputed.

    Kappa .429 with variance .002885, .003082 were there no agreement; weighted .507, .003248 and .004269.
    """
    plain = cohen_kappa(FLEISS_1969)
    assert plain.kappa == pytest.approx(0.429, abs=5e-4)
    assert plain.standard_error**2 == pytest.approx(0.002885, abs=5e-7)
    assert plain.standard_error_of_none**2 == pytest.approx(0.003082, abs=5e-7)
    weighted = cohen_kappa(FLEISS_1969, [[1, 0, 0.4444], [0, 1, 0.6667], [0.4444, 0.6667, 1]])
    assert weighted.kappa == pytest.approx(0.507, abs=5e-4)
    assert weighted.standard_error**2 == pytest.approx(0.003248, abs=5e-7)
    assert weighted.standard_error_of_none**2 == pytest.approx(0.004269, abs=5e-7)


def test_the_worked_example_of_fleiss_textbook() -> None:
    """Fleiss, Statistical Methods for Rates and Proportions, 1981, chapter 13: from memory, and recomputed.

    Kappa .68 of 100 cases, standard error .087 and .076 for the test.
    """
    result = cohen_kappa([[75, 1, 4], [5, 4, 1], [0, 0, 10]])
    assert (round(result.observed, 2), round(result.expected, 2)) == (0.89, 0.66)
    assert round(result.kappa, 2) == 0.68
    assert result.standard_error == pytest.approx(0.087, abs=1e-3)
    assert result.standard_error_of_none == pytest.approx(0.076, abs=5e-4)


@pytest.mark.parametrize(
    ("table", "kappa", "expected"),
    [([[40, 9], [6, 45]], 0.70, 0.50), ([[80, 10], [5, 5]], 0.32, 0.78)],
)
def test_the_same_agreement_has_a_lower_kappa_where_one_answer_is_rare(
    table: list[list[int]], kappa: float, expected: float
) -> None:
    """Feinstein & Cicchetti, J Clin Epidemiol 1990;43:543-549: seen in Gerstman, Epidemiology Kept Simple, 10.6."""
    result, adjusted = cohen_kappa(table), prevalence_bias_adjusted_kappa(table)
    assert result.observed == pytest.approx(0.85)
    assert round(result.expected, 2) == expected
    assert round(result.kappa, 2) == kappa
    assert adjusted.kappa == pytest.approx(0.7)


def test_a_large_table_of_two_readers() -> None:
    """Gerstman, Epidemiology Kept Simple, example 10.1: 19,790 films, kappa .524; margins and result seen."""
    result = cohen_kappa([[1467, 782], [1309, 16232]])
    assert round(result.observed, 4) == 0.8943
    assert round(result.expected, 4) == 0.7780
    assert result.kappa == pytest.approx(0.524, abs=5e-4)


def test_kappa_is_made_of_adjusted_kappa_prevalence_and_bias() -> None:
    """Byrt, Bishop & Carlin, J Clin Epidemiol 1993;46:423-429: the identity from memory, recomputed here.

    Kappa is (PABAK - PI² + BI²) / (1 - PI² + BI²), for 500 random tables.
    """
    random = np.random.default_rng(1993)
    for table in random.integers(1, 60, (500, 2, 2)):
        adjusted = prevalence_bias_adjusted_kappa(table)
        shift = adjusted.bias_index**2 - adjusted.prevalence_index**2
        assert cohen_kappa(table).kappa == pytest.approx((adjusted.kappa + shift) / (1 + shift), abs=1e-12)


def test_exact_fractions_give_the_same_kappa() -> None:
    """Recomputed: 17/20 agreed on, 313/625 by chance, so 875/1248 of Feinstein & Cicchetti's first table."""
    observed, expected = Fraction(85, 100), Fraction(49 * 46 + 51 * 54, 100**2)
    exact = (observed - expected) / (1 - expected)
    assert cohen_kappa([[40, 9], [6, 45]]).kappa == pytest.approx(float(exact), rel=1e-14)


@pytest.mark.parametrize(
    ("weights", "theirs"),
    [(None, {}), ("linear", {"wt": "linear"}), ("quadratic", {"wt": "quadratic"})],
)
def test_statsmodels_gives_the_same_for_random_tables(weights: Any, theirs: dict[str, str]) -> None:
    """Recomputed here with `cohens_kappa`, 200 random tables of 2 to 6 categories for each kind of weights."""
    random = np.random.default_rng(1960)
    for _each in range(200):
        size = int(random.integers(2, 7))
        table = random.integers(0, 20, (size, size)) + np.eye(size, dtype=int)
        ours, other = cohen_kappa(table, weights, 0.9), cohens_kappa(table, **theirs)
        assert ours.kappa == pytest.approx(other.kappa, abs=1e-12)
        assert ours.standard_error == pytest.approx(np.sqrt(other.var_kappa), abs=1e-12)
        assert ours.standard_error_of_none == pytest.approx(np.sqrt(other.var_kappa0), abs=1e-12)
        z = 1.6448536269514722
        assert ours.upper == pytest.approx(min(other.kappa + z * np.sqrt(other.var_kappa), 1), abs=1e-12)
        assert ours.lower == pytest.approx(max(other.kappa - z * np.sqrt(other.var_kappa), -1), abs=1e-12)
