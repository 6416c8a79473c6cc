"""How often limits hold the truth, against published behaviour; and the table in the notes for developers."""

from __future__ import annotations

from pathlib import Path

import pytest

from analytics.statistics.proportions import clopper_pearson, mid_p, wilson
from tests.soak.coverage import (
    NOMINAL,
    SIZES,
    clustered,
    coverage,
    in_words,
    least_coverage,
    mean_coverage,
    table,
)

pytestmark = pytest.mark.pure

NOTES = Path(__file__).parents[2] / "DEVELOPERS.md"


@pytest.mark.parametrize(
    ("trials", "chance", "expected"),
    [
        (17, 0.5, 0.9510),
        (40, 0.5, 0.9615),
        (30, 0.2, 0.9639),
        (98, 0.2, 0.9576),
        (100, 0.106, 0.9509),
        (10, 0.0174, 0.8390),
        (10, 0.0179, 0.9869),
    ],
)
def test_wilsons_coverage_at_single_chances(trials: int, chance: float, expected: float) -> None:
    """Recomputed.

    At the first five points Brown, Cai & DasGupta, Stat Sci 2001;16:101-133, section 2, show how the textbook
    interval fails (from memory); the last two show the dip of Wilson's own coverage close to 0.
    """
    assert coverage(wilson, trials, [chance])[0] == pytest.approx(expected, abs=5e-5)


def test_wilsons_mean_coverage_is_near_the_level_from_5_to_50_trials() -> None:
    """Brown, Cai & DasGupta 2001: the mean of the score interval is close to the level (from memory)."""
    means = [mean_coverage(wilson, trials) for trials in SIZES]
    assert all(0.95 < mean < 0.956 for mean in means)


def test_wilsons_least_coverage_is_that_of_its_spike_beside_0() -> None:
    """Agresti & Coull, Am Stat 1998;52:119-126: 0.838 as trials grow, at a chance of 0.1765 / trials (from memory)."""
    assert least_coverage(wilson, 50) == pytest.approx(0.838, abs=1e-3)
    assert coverage(wilson, 10_000, [0.1765e-4 * 0.9999])[0] == pytest.approx(0.838, abs=1e-3)


def test_exact_limits_never_fall_below_the_level() -> None:
    assert all(least_coverage(clopper_pearson, trials) >= NOMINAL for trials in SIZES)


def test_mid_p_limits_lie_between_the_two_on_average() -> None:
    for trials in SIZES:
        middle = mean_coverage(mid_p, trials)
        assert mean_coverage(wilson, trials) < middle < mean_coverage(clopper_pearson, trials)


def test_the_mean_is_that_of_a_fine_grid_of_chances() -> None:
    grid = [(number + 0.5) / 20_000 for number in range(20_000)]
    assert mean_coverage(wilson, 12) == pytest.approx(coverage(wilson, 12, grid).mean(), abs=2e-5)


def test_the_table_in_the_notes_is_the_one_that_is_computed() -> None:
    assert in_words(table()) in NOTES.read_text(encoding="utf-8")


def test_widened_limits_hold_the_truth_where_limits_of_attempts_as_if_apart_do_not() -> None:
    found = clustered(0.3, 0.3, draws=4_000)
    assert found["widened"] == pytest.approx(0.94, abs=0.012)
    assert found["as_if_apart"] == pytest.approx(0.86, abs=0.02)
