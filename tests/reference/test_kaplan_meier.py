"""Survival curves against a published trial, its printed curve, and two libraries.

Status of a figure: *seen* in a public copy; *recomputed* here; *from memory* where no copy was seen.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from sksurv.nonparametric import kaplan_meier_estimator
from statsmodels.duration.survfunc import SurvfuncRight

from analytics.statistics.sequences import kaplan_meier

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

RELAPSED = [6, 6, 6, 7, 10, 13, 16, 22, 23]
STILL_IN_REMISSION = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
"""Weeks of remission under 6-mercaptopurine: Freireich et al., Blood 1963;21:699-716; the weeks from memory.

They give the curve that a library's manual prints of them (seen), which no other weeks of relapse would.
"""

TRIAL = (RELAPSED + STILL_IN_REMISSION, [1] * len(RELAPSED) + [0] * len(STILL_IN_REMISSION))


def test_the_curve_of_the_6_mp_trial_is_the_printed_one() -> None:
    """Printed by the NAG Library manual, example of g12aac, without limits: seen. Three decimals."""
    result = kaplan_meier(*TRIAL)
    relapse = np.isin(result.times, RELAPSED)
    assert result.times[relapse].tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert result.survival[relapse].round(3).tolist() == [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448]
    standard_error = np.sqrt(result.variance[relapse])
    assert standard_error.round(3).tolist() == [0.076, 0.087, 0.096, 0.107, 0.114, 0.128, 0.135]


def test_those_at_risk_in_the_6_mp_trial() -> None:
    """From memory of textbooks, and by counting: 21 17 15 12 11 7 6 at the weeks of relapse."""
    result = kaplan_meier(*TRIAL)
    relapse = np.isin(result.times, RELAPSED)
    assert result.at_risk[relapse].tolist() == [21, 17, 15, 12, 11, 7, 6]
    assert result.events[relapse].tolist() == [3, 1, 1, 1, 1, 1, 1]


def test_the_limits_of_the_6_mp_trial_are_those_of_the_definition() -> None:
    """Recomputed from S ** exp(±z·se / (S·|log S|)), with z at its full length: Kalbfleisch & Prentice 1980."""
    result = kaplan_meier(*TRIAL)
    for s, variance, lower, upper in zip(
        result.survival, result.variance, result.lower, result.upper, strict=True
    ):
        width = 1.959963984540054 * math.sqrt(variance) / (s * abs(math.log(s)))
        assert lower == pytest.approx(s ** math.exp(width), rel=1e-12)
        assert upper == pytest.approx(s ** math.exp(-width), rel=1e-12)


def test_a_rounded_normal_quantile_would_show_in_the_sixth_place() -> None:
    """The trap: with 1.96 instead of 1.959964 the lower limit after 23 weeks differs by more than 1e-6."""
    result = kaplan_meier(*TRIAL)
    s, variance = result.survival[-1], result.variance[-1]
    rounded = s ** math.exp(1.96 * math.sqrt(variance) / (s * abs(math.log(s))))
    assert abs(rounded - result.lower[-1]) > 1e-6


def test_two_libraries_give_the_same_curve_for_random_records() -> None:
    """Recomputed here, 300 random sets: `SurvfuncRight` and `kaplan_meier_estimator` with log-log limits."""
    random = np.random.default_rng(1958)
    for _each in range(300):
        size = int(random.integers(5, 60))
        times = random.integers(1, 12, size).astype(float)
        events = random.random(size) < 0.6
        events[0], times[-1], events[-1] = True, 12.0, False  # statsmodels divides by 0 where all have it
        ours = kaplan_meier(times, events)
        moments, survival, limits = kaplan_meier_estimator(events, times, conf_type="log-log")
        assert ours.times.tolist() == moments.tolist()
        assert ours.survival == pytest.approx(survival, abs=1e-12)
        assert ours.lower == pytest.approx(limits[0], abs=1e-9)
        assert ours.upper == pytest.approx(limits[1], abs=1e-9)
        theirs = SurvfuncRight(times, events)
        shared = np.isin(ours.times, theirs.surv_times)
        assert ours.at_risk[shared].tolist() == theirs.n_risk.tolist()
        assert ours.survival[shared] == pytest.approx(theirs.surv_prob, abs=1e-12)
        assert np.sqrt(ours.variance[shared]) == pytest.approx(theirs.surv_prob_se, abs=1e-12)


def test_where_all_have_had_the_event_or_none_the_limits_are_those_of_scikit_survival() -> None:
    times, events = [2.0, 3.0, 5.0, 5.0], [False, True, True, True]
    _moments, _survival, limits = kaplan_meier_estimator(
        np.array(events), np.array(times), conf_type="log-log"
    )
    result = kaplan_meier(times, events)
    assert result.lower == pytest.approx(limits[0])
    assert result.upper == pytest.approx(limits[1])
    assert (result.lower[0], result.upper[0]) == (1, 1)
    assert (result.lower[-1], result.upper[-1]) == (0, 0)
