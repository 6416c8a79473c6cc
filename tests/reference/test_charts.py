"""Control charts against published data and limits, each named with where it was seen.

Status of a figure: *seen* in a public copy; *from memory*, recalled and not seen; *recomputed*; *constructed*,
an arithmetic fixture without a publication.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.statistics.control import g_chart, p_chart, t_chart, u_chart

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

SIX_DECIMALS = 5e-7
FOUR_DECIMALS = 5e-5

# Montgomery, Introduction to Statistical Quality Control, 2nd ed., pp. 152-155; NIST/SEMATECH e-Handbook 6.3.3.2.
# Data seen (R package qcc, orangejuice), limits .0524 and .4102 from memory and recomputed.
JUICE = [
    12,
    15,
    8,
    10,
    4,
    7,
    16,
    9,
    14,
    10,
    5,
    6,
    17,
    12,
    22,
    8,
    10,
    5,
    13,
    11,
    20,
    18,
    24,
    15,
    9,
    12,
    7,
    13,
    9,
    6,
]
# NIST/SEMATECH e-Handbook 6.3.3.1; data and limits seen in a public copy of the page.
WAFERS = [16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13]
# Montgomery, pp. 173-175; data seen (qcc, circuit), limits 6.48 and 33.22, of a rounded mean, from memory.
BOARDS = [
    21,
    24,
    16,
    12,
    15,
    5,
    28,
    20,
    31,
    25,
    20,
    24,
    16,
    19,
    10,
    17,
    13,
    22,
    18,
    39,
    30,
    24,
    16,
    19,
    17,
    15,
]
# Montgomery, pp. 181-182; data seen (qcc, pcmanufact), limits .07 and 3.79 from memory.
COMPUTERS = [10, 12, 8, 14, 10, 16, 11, 7, 10, 15, 9, 5, 7, 11, 12, 6, 8, 10, 7, 5]
# Montgomery, pp. 183-184; data seen (qcc, dyedcloth), limits from memory.
CLOTH = [14, 12, 20, 11, 7, 10, 21, 16, 19, 23]
LENGTHS = [10, 8, 13, 10, 9.5, 10, 12, 10.5, 12, 12.5]
# SAS/QC example 15.33; data seen, limits recomputed.
DEFECTS = [7, 11, 15, 6, 11, 15, 5, 10, 8, 3, 3, 14, 3, 9, 7, 6, 7, 5, 14, 13, 11, 6, 6, 9, 11]
SQUARE_METRES = [
    30, 27.6, 30.4, 34.8, 26, 28.6, 28, 30.2, 28.2, 31.4, 30.3, 27.8, 27,
    30, 32.1, 34.8, 26.5, 30, 31.3, 31.6, 29.4, 28.6, 27.5, 32.6, 31.7,
]  # fmt: skip
# Montgomery's failures of a valve, hours between; data and transformed values from memory.
VALVE = [286, 948, 536, 124, 816, 729, 4, 143, 431, 8, 2837, 596, 81, 227, 603, 492, 1199, 1214, 2831, 96]


def without(values: list[int], *points: int) -> list[int]:
    """Points count from 1."""
    return [value for point, value in enumerate(values, 1) if point not in points]


def test_a_p_chart_of_orange_juice_cans() -> None:
    chart = p_chart(JUICE, 50)
    assert sum(JUICE) == 347
    assert (chart.centre[0], chart.lower[0], chart.upper[0]) == pytest.approx(
        (0.231333, 0.052428, 0.410239), abs=SIX_DECIMALS
    )
    assert (np.flatnonzero(chart.out) + 1).tolist() == [15, 23]


def test_the_upper_juice_limit_is_the_one_that_montgomery_prints() -> None:
    """A public copy of the data has .4103; arithmetic, as Montgomery, has .4102."""
    assert round(float(p_chart(JUICE, 50).upper[0]), 4) == 0.4102


def test_a_p_chart_of_orange_juice_cans_without_the_points_that_were_out() -> None:
    chart = p_chart(without(JUICE, 15, 23), 50)
    assert (chart.centre[0], chart.lower[0], chart.upper[0]) == pytest.approx(
        (0.215, 0.040703, 0.389297), abs=SIX_DECIMALS
    )


def test_a_c_chart_of_wafers() -> None:
    chart = u_chart(WAFERS, 1)
    assert (chart.centre[0], chart.lower[0], chart.upper[0]) == (16, 4, 28)
    assert (np.flatnonzero(chart.above) + 1).tolist() == [24]
    assert not chart.below.any()


def test_a_c_chart_of_circuit_boards() -> None:
    chart = u_chart(BOARDS, 1)
    assert (chart.centre[0], chart.lower[0], chart.upper[0]) == pytest.approx(
        (19.846154, 6.481447, 33.210861), abs=SIX_DECIMALS
    )
    assert (np.flatnonzero(chart.out) + 1).tolist() == [6, 20]


def test_a_c_chart_of_circuit_boards_without_the_points_that_were_out() -> None:
    chart = u_chart(without(BOARDS, 6, 20), 1)
    assert (chart.centre[0], chart.lower[0], chart.upper[0]) == pytest.approx(
        (19.666667, 6.362532, 32.970801), abs=SIX_DECIMALS
    )


def test_a_u_chart_of_computers_in_fives() -> None:
    chart = u_chart(COMPUTERS, 5)
    assert (chart.centre[0], chart.lower[0], chart.upper[0]) == pytest.approx(
        (1.93, 0.066133, 3.793867), abs=SIX_DECIMALS
    )
    assert not chart.out.any()


def test_a_u_chart_of_cloth_of_unequal_length() -> None:
    chart = u_chart(CLOTH, LENGTHS)
    assert chart.centre[0] == pytest.approx(1.423256, abs=SIX_DECIMALS)
    expected = {8: (0.1579, 2.6886), 10: (0.2915, 2.5550), 12: (0.3901, 2.4564), 13: (0.4306, 2.4159)}
    for length, limits in expected.items():
        point = LENGTHS.index(length)
        assert (chart.lower[point], chart.upper[point]) == pytest.approx(limits, abs=FOUR_DECIMALS)


def test_lengths_cut_to_whole_numbers_would_give_another_rate() -> None:
    assert u_chart(CLOTH, LENGTHS).centre[0] < 1.43 < sum(CLOTH) / sum(int(length) for length in LENGTHS)


def test_a_u_chart_of_fabric_rolls_has_a_lower_limit_cut_at_0() -> None:
    chart = u_chart(DEFECTS, SQUARE_METRES)
    assert chart.centre[0] == pytest.approx(0.288049, abs=SIX_DECIMALS)
    assert chart.lower[0] == 0
    assert chart.upper[0] == pytest.approx(0.58201, abs=5e-6)
    assert 2 * chart.centre[0] - chart.upper[0] == pytest.approx(-0.00591, abs=5e-6)


# Kaminsky et al., J Qual Technol 1992;24:63-69; Benneyan, Health Care Manag Sci 2001;4:305-318: formula seen,
# figures recomputed. A chance of 1 in 100 uses has a mean gap of 99.
@pytest.mark.parametrize(("mean", "upper"), [(99, 397.496231), (199, 797.498120), (49, 197.492424)])
def test_a_g_chart_of_a_known_mean(mean: int, upper: float) -> None:
    chart = g_chart([mean] * 5)
    assert chart.upper[0] == pytest.approx(upper, abs=SIX_DECIMALS)
    assert chart.lower[0] == 0
    if mean == 99:
        assert (chart.upper[0] - 99) / 3 == pytest.approx(99.498744, abs=SIX_DECIMALS)


def test_a_g_chart_of_ten_gaps() -> None:
    """Constructed."""
    gaps = [12, 40, 8, 95, 23, 61, 5, 130, 44, 17]
    chart = g_chart(gaps)
    assert (chart.centre[0], chart.lower[0]) == (43.5, 0)
    assert chart.upper[0] == pytest.approx(175.491477, abs=SIX_DECIMALS)
    assert 1 / (chart.centre[0] + 1) == pytest.approx(0.0224719, abs=5e-8)


@pytest.mark.parametrize(
    ("mean", "quantiles"), [(99, (0, 68, 657)), (199, (0, 138, 1318)), (49, (0, 34, 327))]
)
def test_probability_limits_of_gaps_are_quantiles_of_the_geometric_distribution(
    mean: int, quantiles: tuple[int, int, int]
) -> None:
    """Recomputed; SciPy counts the event's own use with the gap. Three standard deviations end at 397 of 657."""
    chart = g_chart([mean], limits="probability")
    assert (chart.lower[0], chart.centre[0], chart.upper[0]) == quantiles
    assert tuple(stats.geom.ppf([0.00135, 0.5, 0.99865], 1 / (mean + 1)) - 1) == quantiles


def test_counting_the_events_own_use_moves_the_mean_and_keeps_the_spread() -> None:
    chart = g_chart([43, 44])
    assert (chart.upper[0] - chart.centre[0]) / 3 == pytest.approx(43.997159, abs=SIX_DECIMALS)
    assert np.sqrt(44.5 * 43.5) == pytest.approx(43.997159, abs=SIX_DECIMALS)


def test_a_t_chart_of_valve_failures() -> None:
    """Nelson, J Qual Technol 1994;26:239-240; limits recomputed, the published ones not confirmed."""
    x = np.array(VALVE) ** 0.2777
    assert x[:3] == pytest.approx((4.80986, 6.70903, 5.72650), abs=5e-6)
    assert np.abs(np.diff(x)).mean() == pytest.approx(2.359210, abs=SIX_DECIMALS)
    chart = t_chart(VALVE)
    assert chart.centre[0] ** 0.2777 == pytest.approx(5.386624, abs=SIX_DECIMALS)
    assert chart.upper[0] ** 0.2777 == pytest.approx(11.662121, abs=SIX_DECIMALS)
    assert chart.lower[0] == 0
    assert x.mean() - 2.66 * np.abs(np.diff(x)).mean() == pytest.approx(-0.888874, abs=SIX_DECIMALS)


def test_probability_limits_of_times_are_quantiles_of_the_exponential_distribution() -> None:
    chart = t_chart([1.0], limits="probability")
    assert (chart.lower[0], chart.centre[0], chart.upper[0]) == pytest.approx(
        (0.00135091, 0.693147, 6.607651), abs=SIX_DECIMALS
    )
    assert chart.upper[0] == pytest.approx(stats.expon.ppf(0.99865), rel=1e-12)


def test_probability_limits_of_counts_are_scipys_poisson_quantiles() -> None:
    draw = np.random.default_rng(3)
    exposure = draw.uniform(0.1, 40, 2000)
    chart = u_chart(draw.poisson(10 * exposure), exposure, limits="probability")
    expected = chart.centre * exposure
    assert np.round(chart.lower * exposure, 6).tolist() == stats.poisson.ppf(0.00135, expected).tolist()
    assert np.round(chart.upper * exposure, 6).tolist() == stats.poisson.ppf(0.99865, expected).tolist()
