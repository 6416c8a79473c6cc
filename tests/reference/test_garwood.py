"""Garwood's exact Poisson limits against published and recomputed figures, each named with where it was seen.

Status of a figure: *seen* in a public copy or manual; *recomputed*, with SciPy 1.17. Published
limits with an exposure stand in `test_published_series.py`.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from analytics.statistics.counts import garwood

pytestmark = pytest.mark.pure

SIX_DECIMALS = 5e-7

# Recomputed; the source is Garwood, Biometrika 1936;28:437-442, whose own table was not seen.
GARWOOD_TABLE = [
    (0, 0, 3.688879),
    (1, 0.025318, 5.571643),
    (2, 0.242209, 7.224688),
    (3, 0.618672, 8.767273),
    (4, 1.089865, 10.241589),
    (5, 1.623486, 11.668332),
    (6, 2.201894, 13.059474),
    (7, 2.814363, 14.422675),
    (8, 3.453832, 15.763189),
    (9, 4.115373, 17.084803),
    (10, 4.795389, 18.390356),
    (20, 12.216520, 30.888378),
    (25, 16.178682, 36.904932),
]


@pytest.mark.parametrize(("events", "lower", "upper"), GARWOOD_TABLE)
def test_the_table_of_exact_limits_is_reproduced(events: int, lower: float, upper: float) -> None:
    assert garwood(events) == pytest.approx((lower, upper), abs=SIX_DECIMALS)


# Seen: 3.689 in the documentation of the R package epitools, the others in GraphPad's questions and answers.
@pytest.mark.parametrize(
    ("events", "decimals", "printed"), [(0, 3, (0, 3.689)), (10, 2, (4.80, 18.39)), (25, 2, (16.18, 36.90))]
)
def test_printed_exact_limits_are_reproduced(
    events: int, decimals: int, printed: tuple[float, float]
) -> None:
    assert tuple(round(float(limit), decimals) for limit in garwood(events)) == printed


def test_no_event_has_the_rule_of_three_as_its_one_sided_limit() -> None:
    """2.996 is seen in the documentation of the R package epitools; it is -ln 0.05."""
    lower, upper = garwood(0, confidence=0.90)
    assert lower == 0
    assert upper == pytest.approx(-math.log(0.05), rel=1e-12)


# Recomputed, in events per 1,000 uses.
@pytest.mark.parametrize(
    ("events", "uses", "expected"),
    [
        (0, 1500, (0, 2.45925)),
        (1, 1500, (0.01688, 3.71443)),
        (5, 1250, (1.29879, 9.33467)),
        (38, 11773, (2.28413, 4.43030)),
    ],
)
def test_rare_events_per_1000_uses(events: int, uses: int, expected: tuple[float, float]) -> None:
    assert 1000 * np.array(garwood(events, uses)) == pytest.approx(expected, abs=5e-6)


def test_one_event_in_the_counted_months_of_a_device() -> None:
    """The product's own counting rule E10, recomputed: 1 event in 1,000 uses is 0.025 to 5.57 per 1,000."""
    lower, upper = garwood(1, 400 + 600)
    assert (round(1000 * float(lower), 3), round(1000 * float(upper), 2)) == (0.025, 5.57)


def test_no_exposure_has_no_limits() -> None:
    assert np.isnan(garwood([0, 3], 0)).all()


def test_scipys_chi_square_quantiles_give_the_same_limits_for_random_counts() -> None:
    """Recomputed here in the form that Garwood printed, 3,000 random counts, exposures and confidences."""
    random = np.random.default_rng(1936)
    events = np.rint(10 ** random.uniform(-0.5, 5, size=3000)).astype(int)
    exposure = 10 ** random.uniform(-2, 6, size=3000)
    for confidence in (0.5, 0.8, 0.95, 0.998):
        tail = (1 - confidence) / 2
        lower, upper = garwood(events, exposure, confidence)
        some = events > 0
        expected_lower = stats.chi2.ppf(tail, 2 * events[some]) / 2 / exposure[some]
        assert lower[some] == pytest.approx(expected_lower, rel=1e-9)
        assert (lower[~some] == 0).all()
        assert upper == pytest.approx(stats.chi2.isf(tail, 2 * events + 2) / 2 / exposure, rel=1e-9)
    assert 0 < np.count_nonzero(events == 0) < 3000
