"""P-values adjusted for many comparisons against published and recomputed figures.

Status of a figure: *seen* in a public copy; *recomputed*, with statsmodels 0.15 and SciPy 1.17.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests

from analytics.statistics.multiplicity import benjamini_hochberg, holm

pytestmark = pytest.mark.pure

# Benjamini & Hochberg, J R Stat Soc B 1995;57:289-300, section 3.2: seen in five public test suites (one of which
# has .7628 as the last; the others 1.0000). How many are found at 5 % is seen, the adjusted ones are recomputed.
PUBLISHED = [
    *(0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344),
    *(0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000),
]
BY_BENJAMINI_HOCHBERG = [
    *(0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.063857, 0.063857, 0.0645),
    *(0.0765, 0.486, 0.581182, 0.714875, 0.753231, 0.813214, 1),
]
BY_HOLM = [0.0015, 0.0056, 0.0247, 0.114, 0.2211, 0.278, 0.278, 0.278, 0.3213, *[1.0] * 6]


def test_the_published_example_finds_four_by_benjamini_and_hochberg() -> None:
    adjusted = benjamini_hochberg(PUBLISHED)
    assert adjusted == pytest.approx(BY_BENJAMINI_HOCHBERG, abs=5e-7)
    assert np.count_nonzero(adjusted <= 0.05) == 4


def test_the_published_example_finds_three_by_holm_and_by_bonferroni_and_nine_unadjusted() -> None:
    adjusted, p = holm(PUBLISHED), np.array(PUBLISHED)
    assert adjusted[:10] == pytest.approx(BY_HOLM[:10], abs=5e-7)
    assert (adjusted[10:] == 1).all()
    assert np.count_nonzero(adjusted <= 0.05) == np.count_nonzero(15 * p <= 0.05) == 3
    assert np.count_nonzero(p < 0.05) == 9


def test_the_published_example_finds_three_by_benjamini_and_yekutieli_which_is_not_used() -> None:
    """Recomputed."""
    theirs = multipletests(PUBLISHED, method="fdr_by")[1]
    assert theirs[:4] == pytest.approx([0.004977, 0.009955, 0.031523, 0.118212], abs=5e-7)
    assert np.count_nonzero(theirs <= 0.05) == 3


def test_four_p_values_by_holm_come_back_in_their_own_order() -> None:
    """Recomputed; the procedure is Holm, Scand J Stat 1979;6:65-70, the order that of R's `p.adjust`."""
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])


def test_statsmodels_and_scipy_give_the_same_for_random_p_values() -> None:
    """Recomputed here, 100 rows of up to 60 p-values (20 for Holm), half of them with ties."""
    random = np.random.default_rng(1979)
    for turn in range(100):
        p = random.beta(0.5, 2, size=int(random.integers(1, 60)))
        p = p.round(2) if turn % 2 else p
        if turn < 20:  # its Holm takes long
            assert holm(p) == pytest.approx(multipletests(p, method="holm")[1], rel=1e-12, abs=1e-15)
        assert benjamini_hochberg(p) == pytest.approx(
            multipletests(p, method="fdr_bh")[1], rel=1e-12, abs=1e-15
        )
        assert benjamini_hochberg(p) == pytest.approx(stats.false_discovery_control(p), rel=1e-12, abs=1e-15)
