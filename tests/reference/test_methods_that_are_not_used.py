"""Methods of the literature beside ours: what they give, and that ours is not what a reader gets from them.

Whoever recomputes a figure of a page with one of these finds other limits. Figures recomputed with statsmodels 0.15 and
SciPy 1.17; where a publication prints them they are from memory, unless said otherwise.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import optimize, stats
from statsmodels.stats.contingency_tables import StratifiedTable
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from analytics.statistics.comparisons import mantel_haenszel_difference
from analytics.statistics.proportions import newcombe_difference, wilson
from tests.soak.coverage import coverage

pytestmark = pytest.mark.pure

Z = 1.959963984540054
SIX_DECIMALS = 5e-7


def wald(x: Any, n: Any, correction: float = 0.0) -> tuple[Any, Any]:
    """The textbook interval, not cut off at 0 and 1."""
    p = x / n
    half = Z * np.sqrt(p * (1 - p) / n) + correction / (2 * n)
    return p - half, p + half


# Newcombe, Stat Med 1998;17:857-872, Table I, methods 1, 2 and 7.
@pytest.mark.parametrize(
    ("x", "n", "plain", "corrected", "likelihood"),
    [
        (81, 263, (0.252190, 0.363779), (0.250289, 0.365681), (0.254239, 0.365453)),
        (15, 148, (0.052730, 0.149973), (0.049352, 0.153351), (0.059631, 0.156734)),
        (0, 20, (0, 0), (-0.025, 0.025), (0, 0.091569)),
        (1, 29, (-0.031927, 0.100892), (-0.049168, 0.118134), (0.002000, 0.143186)),
    ],
)
def test_walds_and_the_likelihoods_limits_are_others_than_wilsons(
    x: int,
    n: int,
    plain: tuple[float, float],
    corrected: tuple[float, float],
    likelihood: tuple[float, float],
) -> None:
    assert wald(x, n) == pytest.approx(plain, abs=SIX_DECIMALS)
    assert wald(x, n, 1.0) == pytest.approx(corrected, abs=SIX_DECIMALS)
    assert _likelihood(x, n) == pytest.approx(likelihood, abs=SIX_DECIMALS)
    for other in (plain, corrected, likelihood):
        assert wilson(x, n) != pytest.approx(other, abs=5e-4)


def _likelihood(x: int, n: int) -> tuple[float, float]:
    def fall(p: float) -> float:
        def log(chance: float) -> float:
            return stats.binom.logpmf(x, n, chance)

        return 2 * (log(x / n) - log(p)) - Z * Z

    p = x / n
    lower = optimize.brentq(fall, 1e-12, p - 1e-12) if x else 0.0
    return lower, optimize.brentq(fall, max(p, 1e-12) + 1e-12, 1 - 1e-12)


# Brown, Cai & DasGupta, Stat Sci 2001;16:101-133, section 2: how often the textbook interval holds the truth.
@pytest.mark.parametrize(
    ("n", "p", "expected"),
    [
        (17, 0.5, 0.9510),
        (40, 0.5, 0.9193),
        (30, 0.2, 0.9463),
        (98, 0.2, 0.9281),
        (100, 0.106, 0.9522),
        (100, 0.107, 0.9109),
        (18, 0.5, 0.9037),
    ],
)
def test_walds_limits_hold_the_truth_by_luck(n: int, p: float, expected: float) -> None:
    assert coverage(wald, n, [p])[0] == pytest.approx(expected, abs=5e-5)


# The same, Table 5: modified Jeffreys limits, printed with 3 decimals.
@pytest.mark.parametrize(
    ("x", "n", "lower", "upper"),
    [
        (0, 7, 0, 0.410),
        (1, 7, 0, 0.501),
        (2, 7, 0.065, 0.648),
        (3, 7, 0.139, 0.765),
        (0, 10, 0, 0.308),
        (1, 10, 0, 0.381),
        (2, 10, 0.044, 0.503),
        (3, 10, 0.093, 0.606),
    ],
)
def test_modified_jeffreys_limits_are_others_than_wilsons(x: int, n: int, lower: float, upper: float) -> None:
    posterior = stats.beta(x + 0.5, n - x + 0.5)
    ours = 0.0 if x <= 1 else posterior.ppf(0.025)
    assert ours == pytest.approx(lower, abs=5e-4)
    assert (1 - 0.025 ** (1 / n) if x == 0 else posterior.ppf(0.975)) == pytest.approx(upper, abs=5e-4)
    assert wilson(x, n)[1] != pytest.approx(upper, abs=5e-4)


def test_the_librarys_jeffreys_limit_is_not_0_where_nothing_was_seen() -> None:
    assert proportion_confint(0, 20, method="jeffreys")[0] == pytest.approx(2.42e-5, rel=1e-2)
    assert wilson(0, 20)[0] == 0


# Newcombe, Stat Med 1998;17:873-890, Table II, its rows (a) to (h); score limits recomputed by an own root
# finder, (a) and (d) also seen in public tests (GSK cicalc, ratesci).
@pytest.mark.parametrize(
    ("counts", "mee", "miettinen_nurminen"),
    [
        ((56, 70, 48, 80), (0.053334, 0.337729), (0.052830, 0.338173)),
        ((9, 10, 3, 10), (0.182126, 0.836950), (0.170025, 0.840650)),
        ((6, 7, 2, 7), (0.054448, 0.847809), (0.034176, 0.853405)),
        ((5, 56, 0, 29), (-0.031327, 0.192560), (-0.032597, 0.193331)),
        ((0, 10, 0, 20), (-0.161125, 0.277533), (-0.165760, 0.284381)),
        ((0, 10, 0, 10), (-0.277533, 0.277533), (-0.287934, 0.287934)),
        ((10, 10, 0, 20), (0.722467, 1), (0.715619, 1)),
        ((10, 10, 0, 10), (0.677750, 1), (0.663642, 1)),
    ],
)
def test_score_limits_of_a_difference(
    counts: tuple[int, int, int, int], mee: tuple[float, float], miettinen_nurminen: tuple[float, float]
) -> None:
    total = counts[1] + counts[3]
    assert _score(*counts, factor=1.0) == pytest.approx(mee, abs=2e-6)
    assert _score(*counts, factor=total / (total - 1)) == pytest.approx(miettinen_nurminen, abs=2e-6)
    assert newcombe_difference(*counts)[1:] != pytest.approx(miettinen_nurminen, abs=1e-5)


def _score(x1: int, n1: int, x2: int, n2: int, factor: float) -> tuple[float, float]:
    seen = x1 / n1 - x2 / n2

    def excess(difference: float) -> float:
        p2 = _second(x1, n1, x2, n2, difference)
        p1 = p2 + difference
        variance = factor * (p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2)
        return (seen - difference) ** 2 - Z * Z * max(variance, 0.0)

    def limit(towards: float) -> float:
        far = towards * (1 - 1e-10)
        if abs(seen - towards) < 1e-12 or excess(far) <= 0:
            return towards
        near = seen + 1e-7 * np.sign(towards)  # at the estimate itself the excess may be 0 as well
        return optimize.brentq(excess, *sorted((near, far)), xtol=1e-12)

    return limit(-1.0), limit(1.0)


def _second(x1: int, n1: int, x2: int, n2: int, difference: float) -> float:
    """The second chance under a fixed difference, by greatest likelihood."""

    def less_likely(p: float) -> float:
        return -(
            stats.binom.logpmf(x1, n1, min(max(p + difference, 0.0), 1.0)) + stats.binom.logpmf(x2, n2, p)
        )

    ends = max(0.0, -difference), min(1.0, 1.0 - difference)
    found = optimize.minimize_scalar(less_likely, bounds=ends, method="bounded", options={"xatol": 1e-12})
    return min((found.x, *ends), key=less_likely)


def test_agresti_and_caffos_and_walds_limits_of_a_difference() -> None:
    """The Wald limits of the first are seen (GSK cicalc)."""
    for counts, expected in [
        ((56, 70, 48, 80), (0.0525, 0.3358)),
        ((9, 10, 3, 10), (0.1600, 0.8400)),
    ]:
        found = confint_proportions_2indep(*counts, method="agresti-caffo")
        assert found == pytest.approx(expected, abs=5e-5)
        assert newcombe_difference(*counts)[1:] != pytest.approx(expected, abs=5e-5)
    assert confint_proportions_2indep(56, 70, 48, 80, method="wald") == pytest.approx(
        (0.0575, 0.3425), abs=5e-5
    )


def test_the_common_odds_ratio_says_what_the_common_difference_says() -> None:
    """Constructed: of two techniques the one that is mostly tried first looks better and is not."""
    first, third = np.array([[40, 10], [9, 1]]), np.array([[2, 8], [20, 30]])
    found = StratifiedTable([first, third])
    assert found.oddsratio_pooled == pytest.approx(0.40, abs=5e-3)
    assert found.oddsratio_pooled_confint() == pytest.approx((0.107019, 1.495064), abs=SIX_DECIMALS)
    assert mantel_haenszel_difference([40, 2], [50, 10], [9, 20], [10, 50]).difference == pytest.approx(-0.15)
