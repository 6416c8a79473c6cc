"""Cumulative incidence by attempt against published figures, exact fractions and statsmodels.

Status of a figure: *seen* in a public copy; *recomputed*, as exact fractions, with scikit-survival 0.28 or
with statsmodels 0.15; *constructed*, an arithmetic example without a publication.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from sksurv.nonparametric import cumulative_incidence_competing_risks
from statsmodels.duration.survfunc import CumIncidenceRight
from statsmodels.stats.proportion import proportion_confint

from analytics.statistics.sequences import (
    CumulativeIncidence,
    conditional_success,
    cumulative_incidence,
    kaplan_meier,
)

pytestmark = pytest.mark.pure

SIX_DECIMALS = 5e-7


def curve(*groups: tuple[int, int, str | None]) -> CumulativeIncidence:
    """The curve of groups given as (how many, attempts made, cause)."""
    attempt = [attempts for count, attempts, _cause in groups for _each in range(count)]
    cause = [cause for count, _attempts, cause in groups for _each in range(count)]
    return cumulative_incidence(attempt, cause)


def fractions(*texts: str) -> list[float]:
    return [float(Fraction(text)) for text in texts]


SATAGOPAN_TABLE_2 = [
    *[(1, time, None) for time in (7, 14, 24)],
    *[(1, time, "event") for time in (10, 16, 23, 27)],
    *[(1, time, "competing") for time in (18, 26)],
    (296, 28, None),
]

# 20 complications: percutaneous success, surgery, left in place or record ends, over four attempts.
ATTEMPTS_FIXTURE: list[tuple[int, int, str | None]] = [
    *[(5, 1, "out"), (1, 1, "surgery"), (1, 1, "left"), (1, 1, None)],
    *[(3, 2, "out"), (1, 2, "surgery"), (1, 2, "left"), (1, 2, None)],
    *[(1, 3, "out"), (1, 3, "surgery"), (1, 3, "left"), (1, 3, None)],
    *[(1, 4, "out"), (1, 4, "left")],
]


def test_satagopans_table_of_competing_risks_is_reproduced() -> None:
    """Satagopan et al., Br J Cancer 2004;91:1229-1235, Table 2: seen (PMC2410013) and recomputed three ways.

    The paper prints .3 .6 .9 1.2 %, having added up steps rounded to .3; the recomputed values are asserted.
    """
    result = curve(*SATAGOPAN_TABLE_2)
    at = {time: index for index, time in enumerate(result.attempts)}
    times = [at[time] for time in (10, 16, 18, 23, 26, 27)]
    still_free = 1 - result.incidence["event"] - result.incidence["competing"]
    assert result.at_risk[times].tolist() == [304, 302, 301, 300, 298, 297]
    expected_free = [99.6711, 99.3410, 99.0110, 98.6809, 98.3498, 98.0187]
    assert 100 * still_free[times] == pytest.approx(expected_free, abs=5e-5)
    assert (100 * still_free[times]).round(1).tolist() == [99.7, 99.3, 99.0, 98.7, 98.3, 98.0]  # as printed
    events = [at[time] for time in (10, 16, 23, 27)]
    expected_events = [0.3289, 0.6590, 0.9890, 1.3202]
    assert 100 * result.incidence["event"][events] == pytest.approx(expected_events, abs=5e-5)


def test_four_attempts_with_competing_endings_and_censoring() -> None:
    """Constructed; recomputed as exact fractions, with scikit-survival and with statsmodels.

    Taking the other endings for censored would overstate the last value as .765625.
    """
    result = curve(*ATTEMPTS_FIXTURE)
    assert result.attempts.tolist() == [1, 2, 3, 4]
    assert result.at_risk.tolist() == [20, 12, 6, 2]
    assert result.incidence["out"] == pytest.approx(fractions("1/4", "33/80", "137/288", "1643/2880"))
    surgery, left = (0.05, 0.104167, 0.167361, 0.167361), (0.05, 0.104167, 0.167361, 0.262153)
    assert result.incidence["surgery"] == pytest.approx(surgery, abs=SIX_DECIMALS)
    assert result.incidence["left"] == pytest.approx(left, abs=SIX_DECIMALS)
    still_open = 1 - sum(result.incidence.values())
    assert still_open == pytest.approx(fractions("13/20", "91/240", "91/480", "0"))


def test_taking_competing_endings_for_censored_overstates_success() -> None:
    """The trap, constructed and recomputed: 1 minus Kaplan-Meier ends at .765625, the share is .570486."""
    attempt = [attempts for count, attempts, _cause in ATTEMPTS_FIXTURE for _each in range(count)]
    out = [cause == "out" for count, _attempts, cause in ATTEMPTS_FIXTURE for _each in range(count)]
    naive = 1 - kaplan_meier(attempt, out).survival
    assert naive == pytest.approx([0.25, 0.4375, 0.53125, 0.765625])
    assert naive[-1] > curve(*ATTEMPTS_FIXTURE).incidence["out"][-1] + 0.19


def test_success_at_each_attempt_is_among_those_who_made_it() -> None:
    """Constructed; 5/20, 3/12, 1/6 and 1/2 recomputed by hand, limits with statsmodels' Wilson interval."""
    attempt = [attempts for count, attempts, _cause in ATTEMPTS_FIXTURE for _each in range(count)]
    out = [cause == "out" for count, _attempts, cause in ATTEMPTS_FIXTURE for _each in range(count)]
    result = conditional_success(attempt, out)
    assert result.attempts.tolist() == [1, 2, 3, 4]
    assert result.succeeded.tolist() == [5, 3, 1, 1]
    assert result.made.tolist() == [20, 12, 6, 2]
    assert result.share == pytest.approx(fractions("5/20", "3/12", "1/6", "1/2"))
    lower, upper = proportion_confint(result.succeeded, result.made, method="wilson")
    assert result.lower == pytest.approx(lower, abs=1e-12)
    assert result.upper == pytest.approx(upper, abs=1e-12)


def test_scikit_survival_gives_the_same_curve_for_the_four_attempts() -> None:
    """Recomputed here with `cumulative_incidence_competing_risks`, causes numbered from 1."""
    numbers = {None: 0, "out": 1, "surgery": 2, "left": 3}
    attempt = [attempts for count, attempts, _cause in ATTEMPTS_FIXTURE for _each in range(count)]
    status = [numbers[cause] for count, _attempts, cause in ATTEMPTS_FIXTURE for _each in range(count)]
    times, shares = cumulative_incidence_competing_risks(np.array(status), np.array(attempt))
    result = curve(*ATTEMPTS_FIXTURE)
    assert times.tolist() == result.attempts.tolist()
    for cause in ("out", "surgery", "left"):
        assert result.incidence[cause] == pytest.approx(shares[numbers[cause]], abs=1e-12)


def test_without_censoring_the_curve_is_plain_proportions() -> None:
    """Constructed and recomputed; the variance is then that of a proportion, F(1 - F)/10."""
    result = curve(
        *[(3, 1, "first"), (1, 1, "second"), (2, 2, "first"), (1, 2, "third")],
        *[(1, 3, "first"), (1, 3, "second"), (1, 4, "third")],
    )
    assert result.incidence["first"] == pytest.approx([0.3, 0.5, 0.6, 0.6])
    assert result.incidence["second"] == pytest.approx([0.1, 0.1, 0.2, 0.2])
    assert result.incidence["third"] == pytest.approx([0, 0.1, 0.1, 0.2])
    for cause, share in result.incidence.items():
        assert result.variance[cause] == pytest.approx(share * (1 - share) / 10)


# The product's own counting rules (E9, E20, E21, E25, E31) and three worked sets whose single cases are
# invented and whose margins are published (seen): Eggebrecht 2000, Catheter Cardiovasc Interv 51:432-40;
# Dunning 2002, J Interv Cardiol 15:345-8; Iturbe 2012, J Invasive Cardiol 24:215-21. Recomputed.
RULES: list[Any] = [
    pytest.param(
        [(1, 1, "out"), (1, 2, "out"), (1, 2, "secured"), (1, 1, "died"), (1, 1, None)],
        {1: 5, 2: 2},
        {"out": [0.2, 0.5], "secured": [0, 0.3], "died": [0.2, 0.2]},
        id="E9",
    ),
    pytest.param(
        [(1, 1, "out"), (1, 2, "out"), (1, 2, "left")],
        {1: 3, 2: 2},
        {"out": fractions("1/3", "2/3"), "left": fractions("0", "1/3")},
        id="E20",
    ),
    pytest.param(
        [(1, 0, "left"), (1, 1, "out")], {0: 2, 1: 1}, {"left": [0.5, 0.5], "out": [0, 0.5]}, id="E21"
    ),
    pytest.param([(1, 1, "out")], {1: 1}, {"out": [1]}, id="E25"),
    pytest.param(
        [(1, 0, "left"), (1, 1, "surgery"), (1, 1, "secured"), (1, 1, "left"), (1, 1, None), (1, 1, "out")],
        {0: 6, 1: 5},
        {cause: fractions("0", "1/6") for cause in ("surgery", "secured", "out")}
        | {"left": fractions("1/6", "2/6")},
        id="E31",
    ),
    pytest.param(
        [
            *[(2, 0, "left"), (9, 1, "out"), (2, 1, "secured"), (2, 1, "surgery")],
            *[(1, 2, "out"), (1, 2, "surgery")],
        ],
        {0: 17, 1: 15, 2: 2},
        {
            "left": [0.117647, 0.117647, 0.117647],
            "out": [0, 0.529412, 0.588235],
            "secured": [0, 0.117647, 0.117647],
            "surgery": [0, 0.117647, 0.176471],
        },
        id="Eggebrecht 2000",
    ),
    pytest.param(
        [(14, 0, "left"), (16, 1, "out"), (7, 1, "secured"), (3, 1, "surgery")],
        {0: 40, 1: 26},
        {"left": [0.35, 0.35], "out": [0, 0.40], "secured": [0, 0.175], "surgery": [0, 0.075]},
        id="Dunning 2002",
    ),
    pytest.param(
        [(2, 0, "left"), (2, 1, "out"), (1, 1, "left"), (4, 2, "out")],
        {0: 9, 1: 7, 2: 4},
        {"left": [0.222222, 0.333333, 0.333333], "out": [0, 0.222222, 0.666667]},
        id="Iturbe 2012",
    ),
]


@pytest.mark.parametrize(("groups", "at_risk", "incidence"), RULES)
def test_the_curve_of_the_counting_rules(
    groups: Iterable[tuple[int, int, str | None]], at_risk: dict[int, int], incidence: dict[str, list[float]]
) -> None:
    result = curve(*groups)
    assert dict(zip(result.attempts.tolist(), result.at_risk.tolist(), strict=True)) == at_risk
    assert set(result.incidence) == set(incidence)
    for cause, expected in incidence.items():
        assert result.incidence[cause] == pytest.approx(expected, abs=SIX_DECIMALS)


def test_the_variance_of_the_four_attempts() -> None:
    """Constructed; recomputed as exact fractions from Marubini & Valsecchi's formula, seen in public code.

    At attempt 4 all at risk end: the formula's first term is 0/0 there, and 0 is its limit.
    """
    result = curve(*ATTEMPTS_FIXTURE)
    for cause in ("out", "surgery", "left"):
        assert result.variance[cause] == pytest.approx(
            by_marubini_and_valsecchi(ATTEMPTS_FIXTURE, cause), rel=1e-12
        )


def by_marubini_and_valsecchi(groups: Iterable[tuple[int, int, str | None]], cause: str) -> list[float]:
    """The variance as the book prints it, three sums for each attempt, in exact fractions."""
    groups = list(groups)
    grid = range(min(1, *(at for _n, at, _c in groups)), 1 + max(at for _n, at, _c in groups))
    at_risk = [sum(n for n, at, _c in groups if at >= j) for j in grid]
    ended = [sum(n for n, at, c in groups if at == j and c is not None) for j in grid]
    events = [sum(n for n, at, c in groups if at == j and c == cause) for j in grid]
    still_open, before, incidence = Fraction(1), [], [Fraction(0)]
    for n, d, e in zip(at_risk, ended, events, strict=True):
        before.append(still_open)
        incidence.append(incidence[-1] + still_open * Fraction(e, n))
        still_open *= 1 - Fraction(d, n)
    variances = []
    for last in range(len(at_risk)):
        total = Fraction(0)
        for n, d, e, s, f in zip(at_risk, ended, events, before, incidence[1 : last + 2], strict=False):
            later = incidence[last + 1] - f
            total += later**2 * Fraction(d, n * (n - d)) if d < n else 0
            total += s**2 * Fraction(e * (n - e), n**3) - 2 * later * s * Fraction(e, n**2)
        variances.append(float(total))
    return variances


def test_statsmodels_gives_the_same_curve_and_variance_for_random_records() -> None:
    """Recomputed here with `CumIncidenceRight`, 300 random sets.

    One more complication, censored last, keeps the other program from dividing by 0.
    """
    random = np.random.default_rng(1978)
    for _each in range(300):
        size = int(random.integers(5, 60))
        attempt = np.append(random.integers(0, 7, size), 7)
        status = np.append(random.integers(0, 4, size), 0)
        status[:3] = 1, 2, 3  # its causes are numbers without a gap
        ours = cumulative_incidence(attempt, [str(code) if code else None for code in status])
        theirs = CumIncidenceRight(attempt, status)
        shared = np.isin(ours.attempts, theirs.times)
        for code in (1, 2, 3):
            assert ours.incidence[str(code)][shared] == pytest.approx(theirs.cinc[code - 1], abs=1e-12)
            assert np.sqrt(ours.variance[str(code)][shared]) == pytest.approx(
                theirs.cinc_se[code - 1], abs=1e-7
            )
