"""Limits of a difference of two proportions against published and recomputed figures.

Status of a figure: *seen* in a public copy or repository; *recomputed*, by hand and with statsmodels 0.15, whose
method "newcomb" is right (its method "score" is not, and is no witness here).
"""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.proportion import confint_proportions_2indep

from analytics.statistics.proportions import newcombe_difference

pytestmark = pytest.mark.pure

SIX_DECIMALS = 5e-7

# Newcombe, Stat Med 1998;17:873-890, Table II, rows (a) to (h), method 10 as printed: row (d) seen in the tests of
# the R package ratesci, all rows in two unrelated public test suites that cite the table. All recomputed.
# Method 11 (continuity correction inside) is recomputed only; what the paper prints for it was not seen.
NEWCOMBE_TABLE_II = [
    # x1, n1, x2, n2, difference, method 10 as printed, recomputed, method 11 recomputed
    (56, 70, 48, 80, 0.2, (0.0524, 0.3339), (0.052431, 0.333873), (0.042768, 0.342186)),
    (9, 10, 3, 10, 0.6, (0.1705, 0.8090), (0.170523, 0.809018), (0.101287, 0.838669)),
    (6, 7, 2, 7, 0.571429, (0.0582, 0.8062), (0.058228, 0.806250), (-0.029024, 0.842267)),
    (5, 56, 0, 29, 0.089286, (-0.0381, 0.1926), (-0.038137, 0.192560), (-0.066709, 0.203698)),
    (0, 10, 0, 20, 0, (-0.1611, 0.2775), (-0.161125, 0.277533), (-0.200453, 0.344537)),
    (0, 10, 0, 10, 0, (-0.2775, 0.2775), (-0.277533, 0.277533), (-0.344537, 0.344537)),
    (10, 10, 0, 20, 1, (0.6791, 1.0), (0.679086, 1), (0.601393, 1)),
    (10, 10, 0, 10, 1, (0.6075, 1.0), (0.607509, 1), (0.512751, 1)),
]


@pytest.mark.parametrize(
    ("x1", "n1", "x2", "n2", "difference", "printed", "recomputed", "corrected"), NEWCOMBE_TABLE_II
)
def test_newcombes_table_of_differences_is_reproduced(
    x1: int,
    n1: int,
    x2: int,
    n2: int,
    difference: float,
    printed: tuple[float, float],
    recomputed: tuple[float, float],
    corrected: tuple[float, float],
) -> None:
    found = newcombe_difference(x1, n1, x2, n2)
    assert found.difference == pytest.approx(difference, abs=SIX_DECIMALS)
    assert found[1:] == pytest.approx(recomputed, abs=SIX_DECIMALS)
    assert tuple(round(float(limit), 4) for limit in found[1:]) == printed
    with_correction = newcombe_difference(x1, n1, x2, n2, continuity=True)
    assert with_correction.difference == found.difference
    assert with_correction[1:] == pytest.approx(corrected, abs=SIX_DECIMALS)


# Recomputed; counts: Eggebrecht et al., Catheter Cardiovasc Interv 2000;51:432 (seen), and a constructed example
# in which the crude difference has the wrong sign (its strata stand in `test_strata.py`).
@pytest.mark.parametrize(
    ("x1", "n1", "x2", "n2", "limits"),
    [
        (12, 1147, 8, 2919, (0.002523, 0.015574)),
        (3, 7, 7, 10, (-0.603, 0.170)),
        (42, 60, 29, 60, (0.040823, 0.374740)),
    ],
)
def test_differences_of_published_series_and_of_a_crude_comparison(
    x1: int, n1: int, x2: int, n2: int, limits: tuple[float, float]
) -> None:
    """The second is given in tenths of a percentage point: -60.3 to 17.0."""
    exactness = 5e-4 if n1 == 7 else SIX_DECIMALS
    assert newcombe_difference(x1, n1, x2, n2)[1:] == pytest.approx(limits, abs=exactness)


def test_a_group_without_trials_has_no_difference() -> None:
    assert np.isnan(newcombe_difference([0, 3], [0, 5], [3, 0], [5, 0])).all()


def test_statsmodels_gives_the_same_limits_for_random_counts() -> None:
    """Recomputed here with its method "newcomb", 2,000 random pairs."""
    random = np.random.default_rng(1998)
    n1, n2 = np.rint(10 ** random.uniform(0, 4, size=(2, 2000)))
    x1, x2 = np.rint(n1 * random.beta(0.5, 0.5, size=2000)), np.rint(n2 * random.beta(0.5, 0.5, size=2000))
    ours = np.transpose(newcombe_difference(x1, n1, x2, n2)[1:])
    theirs = [
        confint_proportions_2indep(*row, method="newcomb", compare="diff")
        for row in np.transpose([x1, n1, x2, n2])
    ]
    assert ours == pytest.approx(np.array(theirs), abs=1e-9)
