"""Limits of a proportion whose trials come in clusters, against published and recomputed figures.

Status of a figure: *seen* in a public copy or repository; *from memory*, recalled and not seen; *recomputed* from the
printed formulas; *constructed*, an arithmetic example without a publication.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from analytics.statistics.proportions import clustered_wilson, clustered_wilson_of_sums, wilson

pytestmark = pytest.mark.pure

SIX_DECIMALS = 5e-7

Clusters = list[tuple[int, int]]


def read(text: str) -> Clusters:
    """Clusters as they are printed, successes/trials."""
    return [(int(won), int(tried)) for won, tried in (each.split("/") for each in text.split())]


LIANG: Clusters = [
    *[(0, 1)] * 36 + [(1, 1)] * 12,
    *[(0, 2)] * 15 + [(1, 2)] * 7 + [(2, 2)],
    *[(0, 3)] * 5 + [(1, 3)] * 7 + [(2, 3)] * 3 + [(3, 3)] * 2,
    *[(0, 4)] * 3 + [(1, 4)] * 3 + [(2, 4)],
    *[(0, 6), (2, 6), (3, 6), (4, 6), (6, 6)],
]
"""Liang et al. 1992, used by Saha 2016 and Short 2020: seen in the help of the R package ratesci."""

CONTROL = read("13/13 12/12 9/9 9/9 8/8 8/8 12/13 11/12 9/10 9/10 8/9 11/13 4/5 5/7 7/10 7/10")
TREATED = read("12/12 11/11 10/10 9/9 10/11 9/10 9/10 8/9 8/9 4/5 7/9 4/7 5/10 3/6 3/10 0/7")
"""Weil 1970, rats by litter, Table 1 of Rao & Scott 1992: from memory, yet both give the printed design effects."""

CONSTRUCTED = read("1/1 1/2 0/3 1/1 0/2 1/3 0/1 2/2 0/4 1/1")


def split(clusters: Clusters) -> tuple[list[int], list[int]]:
    return [won for won, _tried in clusters], [tried for _won, tried in clusters]


def test_liangs_families_have_the_printed_limits_and_design_effect() -> None:
    """Printed by ratesci: .2284814 .2955665 .3728302, 1.349133, correlation .1855342: seen, and recomputed.

    Saha prints a correlation of .1871, so that limits in that paper differ in the fourth decimal.
    """
    found = clustered_wilson(*split(LIANG))
    assert found[:3] == pytest.approx((0.2955665, 0.2284814, 0.3728302), abs=5e-8)
    assert found.design_effect == pytest.approx(1.349133, abs=SIX_DECIMALS)
    trials = sum(tried for _won, tried in LIANG)
    squared = sum(tried * tried for _won, tried in LIANG)
    correlation = (found.design_effect - 1) / (squared / trials - 1)
    assert correlation == pytest.approx(0.1855342, abs=5e-8)


# Recomputed; the design effects of Rao & Scott are seen as well, in the help (`rsb`) of the R package PF.
RAO_SCOTT = [
    pytest.param(LIANG, 1.592897, (0.223266, 0.379831), id="Liang"),
    pytest.param(CONTROL, 1.232495, (0.834385, 0.939882), id="Weil, control"),
    pytest.param(TREATED, 3.952861, (0.614943, 0.878237), id="Weil, treated"),
]
# Recomputed; the last is constructed, its correlation is 8/15.
SAHA = [
    pytest.param(CONTROL, 1.272870, (0.833143, 0.940386), id="Weil, control"),
    pytest.param(TREATED, 4.141331, (0.610924, 0.880037), id="Weil, treated"),
    pytest.param(CONSTRUCTED, 1.8, (0.143726, 0.633347), id="constructed"),
]


@pytest.mark.parametrize(("clusters", "design_effect", "limits"), RAO_SCOTT)
def test_rao_and_scotts_design_effect_is_reproduced(
    clusters: Clusters, design_effect: float, limits: tuple[float, float]
) -> None:
    found = clustered_wilson(*split(clusters), method="rao_scott")
    assert found.design_effect == pytest.approx(design_effect, abs=SIX_DECIMALS)
    assert (found.lower, found.upper) == pytest.approx(limits, abs=SIX_DECIMALS)


@pytest.mark.parametrize(("clusters", "design_effect", "limits"), SAHA)
def test_saha_miller_and_wangs_limits_are_reproduced(
    clusters: Clusters, design_effect: float, limits: tuple[float, float]
) -> None:
    found = clustered_wilson(*split(clusters))
    assert found.design_effect == pytest.approx(design_effect, abs=SIX_DECIMALS)
    assert (found.lower, found.upper) == pytest.approx(limits, abs=SIX_DECIMALS)


def test_the_constructed_example_has_rao_and_scotts_design_effect_too() -> None:
    """Constructed and recomputed."""
    found = clustered_wilson(*split(CONSTRUCTED), method="rao_scott")
    assert found.design_effect == pytest.approx(1.642247, abs=SIX_DECIMALS)


def by_the_printed_formulas(clusters: Clusters) -> float:
    """Saha's design effect in exact fractions, sum by sum as the paper prints it."""
    k, n, x = len(clusters), sum(tried for _w, tried in clusters), sum(won for won, _t in clusters)
    shares = sum(Fraction(won * won, tried) for won, tried in clusters)
    between = (shares - Fraction(x * x, n)) / (k - 1)
    within = (x - shares) / sum(tried - 1 for _won, tried in clusters)
    size = Fraction(n * n - sum(tried * tried for _won, tried in clusters), (k - 1) * n)
    correlation = (between - within) / (between + (size - 1) * within)
    return float(sum(tried * (1 + (tried - 1) * correlation) for _won, tried in clusters) / n)


def test_the_steps_of_liangs_families_are_those_of_the_formulas() -> None:
    """Recomputed: mean squares .249320 and .170712, adjusted cluster size 2.021396 lead to 1.349133."""
    assert by_the_printed_formulas(LIANG) == pytest.approx(1.349133, abs=SIX_DECIMALS)
    within, between, size = 0.170712, 0.249320, 2.021396
    assert (between - within) / (between + (size - 1) * within) == pytest.approx(0.1855342, abs=5e-6)


def test_random_clusters_have_the_design_effect_of_the_printed_formulas() -> None:
    """Recomputed here in exact fractions, 1,000 random sets; below 1 it is 1."""
    random = np.random.default_rng(2016)
    floored = 0
    for _each in range(1000):
        tried = random.integers(1, 7, size=int(random.integers(2, 20)))
        won = random.binomial(tried, random.beta(1, 1, size=tried.size))
        if 0 < won.sum() < tried.sum() and tried.max() > 1:
            expected = by_the_printed_formulas(list(zip(won.tolist(), tried.tolist(), strict=True)))
            found = clustered_wilson(won, tried).design_effect
            assert found == pytest.approx(max(expected, 1.0), rel=1e-12)
            floored += expected < 1
    assert floored > 50


def test_sums_over_the_clusters_give_the_same_limits() -> None:
    """Liang: 60 of 203 in 100 clusters, sum of x²/n 42.416667, sum of n² 585; recomputed."""
    assert clustered_wilson_of_sums(60, 203, 100, 42 + 5 / 12, 585) == pytest.approx(
        clustered_wilson(*split(LIANG)), rel=1e-12
    )


@pytest.mark.parametrize("method", ["saha", "rao_scott"])
def test_what_shows_no_clustering_has_a_design_effect_of_1_and_wilsons_limits(method: str) -> None:
    """One trial a cluster; clusters more alike than by chance (the floor); none and all succeeded."""
    for won, tried in (
        ([1, 0, 0, 1, 1], [1, 1, 1, 1, 1]),
        ([2, 2, 2], [4, 4, 4]),
        ([0, 0], [3, 2]),
        ([3, 2], [3, 2]),
        ([1], [1]),
    ):
        found = clustered_wilson(won, tried, method=method)
        assert found.design_effect == 1
        assert (found.lower, found.upper) == pytest.approx(wilson(sum(won), sum(tried)), rel=1e-12)


@pytest.mark.parametrize("method", ["saha", "rao_scott"])
def test_one_cluster_of_several_trials_is_reported_without_a_design_effect(method: str) -> None:
    found = clustered_wilson(3, 4, method=method)
    assert np.isnan(found.design_effect)
    assert found.estimate == 0.75
    assert (found.lower, found.upper) == pytest.approx(wilson(3, 4))
