"""Mid-p limits of a proportion against published and recomputed figures, each named with where it was seen.

Status of a figure: *seen* in a public copy or repository; *recomputed*, from the binomial distribution of SciPy 1.17.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.statistics.proportions import mid_p

pytestmark = pytest.mark.pure

SIX_DECIMALS = 5e-7

# Newcombe, Stat Med 1998;17:857-872, Table I (p. 861), method 6. All recomputed; as printed, all seen in a test of
# the R package coin, which cites the table.
NEWCOMBE_TABLE_I = [
    # successes, trials, limits recomputed, limits as printed
    (81, 263, (0.254402, 0.365773), (0.2544, 0.3658)),
    (15, 148, (0.060064, 0.158122), (0.0601, 0.1581)),
    (0, 20, (0, 0.139108), (0, 0.1391)),
    (1, 29, (0.001725, 0.158537), (0.0017, 0.1585)),
]


@pytest.mark.parametrize(("successes", "trials", "recomputed", "printed"), NEWCOMBE_TABLE_I)
def test_newcombes_table_of_single_proportions_is_reproduced(
    successes: int, trials: int, recomputed: tuple[float, float], printed: tuple[float, float]
) -> None:
    limits = mid_p(successes, trials)
    assert limits == pytest.approx(recomputed, abs=SIX_DECIMALS)
    assert tuple(round(float(limit), 4) for limit in limits) == printed


@pytest.mark.parametrize(
    ("successes", "trials", "printed"), [(5, 20, (0.098, 0.470)), (4, 10, (0.142, 0.709))]
)
def test_printed_mid_p_limits_are_reproduced(
    successes: int, trials: int, printed: tuple[float, float]
) -> None:
    """Berry & Armitage, Statistician 1995;44:417-423, p. 420; Agresti & Gottard 2001, p. 369: seen in coin's test."""
    assert tuple(round(float(limit), 3) for limit in mid_p(successes, trials)) == printed


def test_none_and_all_of_ten() -> None:
    """Agresti & Gottard 2001, p. 369, seen in coin's test; the other limits recomputed."""
    assert mid_p(0, 10) == pytest.approx((0, 0.258866), abs=SIX_DECIMALS)
    assert mid_p(10, 10) == pytest.approx((0.741134, 1), abs=SIX_DECIMALS)
    assert mid_p(0, 10)[0] == 0
    assert mid_p(10, 10)[1] == 1


def test_no_trial_has_no_limits() -> None:
    assert np.isnan(mid_p(0, 0)).all()


def test_each_limit_leaves_half_of_the_doubt_in_its_mid_p_tail_for_random_counts() -> None:
    """The definition, recomputed here with `scipy.stats.binom`: 3,000 random proportions, five confidences."""
    random = np.random.default_rng(1995)
    trials = np.rint(10 ** random.uniform(0, 5, size=3000))
    successes = np.rint(trials * random.beta(0.5, 0.5, size=3000))
    for confidence in (0.05, 0.5, 0.8, 0.95, 0.998):
        lower, upper = mid_p(successes, trials, confidence)
        some, missed = successes > 0, successes < trials
        above = stats.binom.sf(successes, trials, lower) + stats.binom.pmf(successes, trials, lower) / 2
        below = stats.binom.cdf(successes, trials, upper) - stats.binom.pmf(successes, trials, upper) / 2
        assert above[some] == pytest.approx(np.full(some.sum(), (1 - confidence) / 2), rel=1e-7)
        assert below[missed] == pytest.approx(np.full(missed.sum(), (1 - confidence) / 2), rel=1e-7)
