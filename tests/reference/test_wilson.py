"""Wilson's limits against published and recomputed figures, each named with where it was seen.

Status of a figure: *seen* in a public copy or repository; *from memory*, recalled and not seen; *recomputed*,
with SciPy 1.17 or by hand. The publications print 4 decimals, recomputed figures have 6. How often the limits hold
the truth stands in `test_coverage.py`.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.statistics.proportions import wilson

pytestmark = pytest.mark.pure

SIX_DECIMALS = 5e-7

# Newcombe, Stat Med 1998;17:857-872, Table I (p. 861), methods 3 and 4. All recomputed. As printed: three are
# seen in the tests of the R package ratesci, 81/263 second-hand without correction, from memory with it.
NEWCOMBE_TABLE_I = [
    # successes, trials, continuity, limits recomputed, limits as printed
    (81, 263, False, (0.255289, 0.366210), (0.2553, 0.3662)),
    (15, 148, False, (0.062386, 0.160487), (0.0624, 0.1605)),
    (0, 20, False, (0, 0.161125), (0, 0.1611)),
    (1, 29, False, (0.006113, 0.171755), (0.0061, 0.1718)),
    (81, 263, True, (0.253509, 0.368176), (0.2535, 0.3682)),
    (15, 148, True, (0.059778, 0.164450), (0.0598, 0.1644)),
    (0, 20, True, (0, 0.200453), (0, 0.2005)),
    (1, 29, True, (0.001803, 0.196282), (0.0018, 0.1963)),
]


@pytest.mark.parametrize(("successes", "trials", "continuity", "recomputed", "printed"), NEWCOMBE_TABLE_I)
def test_newcombes_table_of_single_proportions_is_reproduced(
    successes: int,
    trials: int,
    continuity: bool,
    recomputed: tuple[float, float],
    printed: tuple[float, float],
) -> None:
    limits = wilson(successes, trials, continuity=continuity)
    assert limits == pytest.approx(recomputed, abs=SIX_DECIMALS)
    assert tuple(round(float(limit), 4) for limit in limits) == printed


# Recomputed; the inputs 23/60 are seen on vassarstats.net/prop1.html, its limits were not.
@pytest.mark.parametrize(
    ("continuity", "expected"), [(False, (0.270883, 0.509824)), (True, (0.263528, 0.518099))]
)
def test_the_worked_example_of_vassarstats_is_reproduced(
    continuity: bool, expected: tuple[float, float]
) -> None:
    assert wilson(23, 60, continuity=continuity) == pytest.approx(expected, abs=SIX_DECIMALS)


# Recomputed; at 0 the upper limit is z²/(n + z²), at n of n the lower is n/(n + z²).
@pytest.mark.parametrize(
    ("trials", "upper_at_none"), [(1, 0.793451), (3, 0.561497), (10, 0.277533), (20, 0.161125)]
)
def test_none_in_n_has_a_lower_limit_of_exactly_0(trials: int, upper_at_none: float) -> None:
    lower, upper = wilson(0, trials)
    assert lower == 0
    assert upper == pytest.approx(upper_at_none, abs=SIX_DECIMALS)


@pytest.mark.parametrize(
    ("trials", "lower_at_all"), [(1, 0.206549), (10, 0.722467), (20, 0.838875), (29, 0.883030)]
)
def test_all_of_n_has_an_upper_limit_of_exactly_1(trials: int, lower_at_all: float) -> None:
    lower, upper = wilson(trials, trials)
    assert lower == pytest.approx(lower_at_all, abs=SIX_DECIMALS)
    assert upper == 1


@pytest.mark.parametrize("continuity", [False, True])
def test_no_trial_has_no_limits(continuity: bool) -> None:
    """The libraries disagree here (statsmodels: NaN, SciPy: an error); never 0 to 1, never 0 %."""
    assert np.isnan(wilson(0, 0, continuity=continuity)).all()


# Recomputed.
@pytest.mark.parametrize(
    ("successes", "trials", "expected"),
    [
        (1, 2, (0.094531, 0.905469)),
        (1, 10, (0.017876, 0.404150)),
        (5, 10, (0.236593, 0.763407)),
        (5, 8, (0.305742, 0.863156)),  # with 1.96 instead of the quantile: 0.305738 and 0.863158
        (12, 40, (0.180748, 0.454300)),
        (31, 36, (0.713405, 0.939182)),  # counts: Gasparini 2021, DOI 10.4244/EIJ-D-20-00781, inferred
    ],
)
def test_small_proportions_are_right_to_the_sixth_decimal(
    successes: int, trials: int, expected: tuple[float, float]
) -> None:
    assert wilson(successes, trials) == pytest.approx(expected, abs=SIX_DECIMALS)


# Recomputed.
@pytest.mark.parametrize(
    ("confidence", "expected"), [(0.90, (0.347991, 0.838828)), (0.99, (0.237470, 0.899189))]
)
def test_the_confidence_asked_for_is_the_one_used(confidence: float, expected: tuple[float, float]) -> None:
    assert wilson(5, 8, confidence=confidence) == pytest.approx(expected, abs=SIX_DECIMALS)


# Recomputed, in events per 1,000 uses.
@pytest.mark.parametrize(
    ("events", "uses", "expected"),
    [
        (0, 1500, (0, 2.55443)),
        (1, 1500, (0.11769, 3.76667)),
        (5, 1250, (1.70973, 9.32951)),
        (38, 11773, (2.35260, 4.42693)),
    ],
)
def test_rare_events_per_1000_uses(events: int, uses: int, expected: tuple[float, float]) -> None:
    assert 1000 * np.array(wilson(events, uses)) == pytest.approx(expected, abs=5e-6)


# Recomputed: the limits as if attempts in one case were independent, beside which clustered limits are wider.
@pytest.mark.parametrize(
    ("successes", "trials", "expected"),
    [
        (60, 203, (0.237064, 0.361663)),  # counts: Liang et al. 1992, seen in the R package ratesci
        (142, 158, (0.841838, 0.936702)),  # counts: Weil 1970, control, from memory
        (112, 145, (0.697660, 0.833106)),  # counts: Weil 1970, treated, from memory
        (7, 20, (0.181192, 0.567146)),  # constructed
        (42, 60, (0.574913, 0.801018)),  # constructed
        (29, 60, (0.361750, 0.606922)),  # constructed
    ],
)
def test_attempts_taken_as_independent(successes: int, trials: int, expected: tuple[float, float]) -> None:
    assert wilson(successes, trials) == pytest.approx(expected, abs=SIX_DECIMALS)


@pytest.mark.parametrize(("continuity", "method"), [(False, "wilson"), (True, "wilsoncc")])
def test_scipy_gives_the_same_limits_for_random_counts(continuity: bool, method: str) -> None:
    """Recomputed here with `scipy.stats.binomtest`, 2,000 random proportions and confidences."""
    random = np.random.default_rng(1927)
    trials = np.rint(10 ** random.uniform(0, 5, size=2000)).astype(int)
    successes = np.rint(trials * random.beta(0.5, 0.5, size=2000)).astype(int)
    for confidence in (0.5, 0.8, 0.95, 0.998):
        chosen = slice(0, 2000) if confidence == 0.95 else slice(0, 200)
        ours = np.transpose(wilson(successes[chosen], trials[chosen], confidence, continuity))
        theirs = [
            stats.binomtest(int(x), int(n)).proportion_ci(confidence, method)
            for x, n in zip(successes[chosen], trials[chosen], strict=True)
        ]
        assert ours == pytest.approx(np.array(theirs), rel=1e-9, abs=1e-12)
