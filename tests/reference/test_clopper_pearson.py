"""Clopper and Pearson's exact limits against published and recomputed figures, each named with where it was seen.

Status of a figure: *seen* in a public copy or repository; *from memory*, recalled and not seen; *recomputed*,
with SciPy 1.17. More published limits stand in `test_published_series.py`.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.statistics.proportions import clopper_pearson

pytestmark = pytest.mark.pure

SIX_DECIMALS = 5e-7

# Newcombe, Stat Med 1998;17:857-872, Table I (p. 861), method 5. All recomputed. As printed: three are seen in the
# tests of the R package ratesci, 81/263 is from memory.
NEWCOMBE_TABLE_I = [
    # successes, trials, limits recomputed, limits as printed
    (81, 263, (0.252737, 0.367622), (0.2527, 0.3676)),
    (15, 148, (0.057844, 0.161650), (0.0578, 0.1617)),
    (0, 20, (0, 0.168433), (0, 0.1684)),
    (1, 29, (0.000873, 0.177644), (0.0009, 0.1776)),
]


@pytest.mark.parametrize(("successes", "trials", "recomputed", "printed"), NEWCOMBE_TABLE_I)
def test_newcombes_table_of_single_proportions_is_reproduced(
    successes: int, trials: int, recomputed: tuple[float, float], printed: tuple[float, float]
) -> None:
    limits = clopper_pearson(successes, trials)
    assert limits == pytest.approx(recomputed, abs=SIX_DECIMALS)
    assert limits == pytest.approx(printed, abs=5e-5)


# Recomputed, in events per 1,000 uses.
@pytest.mark.parametrize(
    ("events", "uses", "expected"),
    [
        (0, 1500, (0, 2.45623)),
        (1, 1500, (0.01688, 3.70877)),
        (5, 1250, (1.30003, 9.30979)),
        (38, 11773, (2.28511, 4.42764)),
    ],
)
def test_rare_events_per_1000_uses(events: int, uses: int, expected: tuple[float, float]) -> None:
    assert 1000 * np.array(clopper_pearson(events, uses)) == pytest.approx(expected, abs=5e-6)


def test_no_trial_has_no_limits() -> None:
    """SciPy raises an error here; never 0 to 1."""
    assert np.isnan(clopper_pearson(0, 0)).all()


def test_scipy_gives_the_same_limits_for_random_counts() -> None:
    """Recomputed here with `scipy.stats.binomtest`, 2,000 random proportions and confidences."""
    random = np.random.default_rng(1934)
    trials = np.rint(10 ** random.uniform(0, 5, size=2000)).astype(int)
    successes = np.rint(trials * random.beta(0.5, 0.5, size=2000)).astype(int)
    for confidence, draws in ((0.95, slice(0, 1400)), (0.5, slice(1400, 1700)), (0.998, slice(1700, 2000))):
        ours = np.transpose(clopper_pearson(successes[draws], trials[draws], confidence))
        theirs = [
            stats.binomtest(int(x), int(n)).proportion_ci(confidence, "exact")
            for x, n in zip(successes[draws], trials[draws], strict=True)
        ]
        assert ours == pytest.approx(np.array(theirs), rel=1e-8, abs=1e-12)
