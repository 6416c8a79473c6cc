"""The exact comparison of two rates against recomputed figures and SciPy's binomial test."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.statistics.counts import compare_rates

pytestmark = pytest.mark.pure


def test_two_rates_of_rare_events() -> None:
    """Constructed; recomputed with `scipy.stats.binomtest(5, 6, 1200/3700)`."""
    found = compare_rates(5, 1200, 1, 2500)
    assert found[:3] == pytest.approx((10.416667, 1.165608, 492.682693), abs=5.01e-7)
    assert found.p_value == pytest.approx(0.015711, abs=5e-7)


def test_hand_mounted_stents_were_lost_more_often_than_premounted_ones() -> None:
    """12 of 1,147 and 8 of 2,919, "P<0.01": Eggebrecht, Catheter Cardiovasc Interv 2000;51:432 (seen)."""
    assert compare_rates(12, 1147, 8, 2919).p_value < 0.01


def test_scipys_binomial_test_gives_the_same_for_random_rates() -> None:
    """Recomputed here, 1,500 pairs: ratios from its exact limits of the share, and its two-sided p-value."""
    random = np.random.default_rng(1940)
    x1, x2 = np.rint(10 ** random.uniform(-0.5, 3, size=(2, 1500))).astype(int)
    e1, e2 = 10 ** random.uniform(-1, 4, size=(2, 1500))
    some = x1 + x2 > 0
    x1, x2, e1, e2 = x1[some], x2[some], e1[some], e2[some]
    found = compare_rates(x1, e1, x2, e2)
    for row, (one, exposure1, other, exposure2) in enumerate(zip(x1, e1, x2, e2, strict=True)):
        test = stats.binomtest(int(one), int(one + other), exposure1 / (exposure1 + exposure2))
        share = test.proportion_ci(0.95, "exact")
        assert found.p_value[row] == pytest.approx(test.pvalue, rel=1e-6, abs=1e-13)
        lower = share.low / (1 - share.low) * exposure2 / exposure1
        assert found.lower[row] == pytest.approx(lower, rel=1e-7)
        if other:
            assert found.ratio[row] == pytest.approx(one / exposure1 / (other / exposure2), rel=1e-12)
            upper = share.high / (1 - share.high) * exposure2 / exposure1
            assert found.upper[row] == pytest.approx(upper, rel=1e-7)
        else:
            assert found.ratio[row] == found.upper[row] == np.inf
