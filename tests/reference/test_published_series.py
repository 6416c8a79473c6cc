"""Lost, stuck and broken devices as the journals printed them, against the limits computed here.

`published_series.json` holds one row per printed figure with its source (seen: the abstract, table or caption
was read) and limits recomputed with SciPy 1.17 and statsmodels 0.15 to 6 decimals; `integers_inferred` marks
counts that follow from a printed percentage and were not printed themselves.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analytics.statistics.counts import garwood
from analytics.statistics.proportions import clopper_pearson, mid_p, wilson

pytestmark = pytest.mark.pure

Row = dict[str, Any]

SERIES: list[Row] = json.loads(Path(__file__).with_name("published_series.json").read_text(encoding="utf-8"))
SIX_DECIMALS = 5.01e-7  # half a unit of the sixth decimal, and the rounding of the row itself


def rows(condition: Callable[[Row], object]) -> pytest.MarkDecorator:
    """The test, once for each row that meets the condition."""
    return pytest.mark.parametrize(
        "row", [pytest.param(row, id=row["id"]) for row in SERIES if condition(row)]
    )


def has_printed_limits(row: Row) -> bool:
    return row["printed"]["upper"] is not None


def agrees_with_print(row: Row, limits: Any) -> bool:
    """Whether limits in the row's printed unit round to what was printed; one row prints only the upper."""
    printed = row["printed"]
    return all(
        abs(float(limit) - printed[side])
        <= 0.5 * 10.0 ** -printed.get(f"digits_{side}", printed["digits"]) + 1e-9
        for side, limit in zip(("lower", "upper"), limits, strict=True)
        if printed[side] is not None
    )


def garwood_in_printed_unit(row: Row) -> Any:
    """Per 100: a percentage of the trials, or events per 100 patient-years."""
    return 100 * np.array(garwood(row["events"], row["trials"] or row["expect"]["exposure_years"]))


@rows(lambda row: "wilson" in row["expect"])
def test_the_wilson_limits_of_a_published_proportion(row: Row) -> None:
    assert wilson(row["events"], row["trials"]) == pytest.approx(row["expect"]["wilson"], abs=SIX_DECIMALS)


@rows(lambda row: "clopper_pearson" in row["expect"])
def test_the_exact_and_the_mid_p_limits_of_a_published_proportion(row: Row) -> None:
    counts, expect = (row["events"], row["trials"]), row["expect"]
    assert clopper_pearson(*counts) == pytest.approx(expect["clopper_pearson"], abs=SIX_DECIMALS)
    assert mid_p(*counts) == pytest.approx(expect["mid_p"], abs=SIX_DECIMALS)


@rows(lambda row: "garwood_per_1000" in row["expect"])
def test_the_exact_limits_of_a_published_rate_per_1000(row: Row) -> None:
    _rate, *limits = row["expect"]["garwood_per_1000"]
    assert 1000 * np.array(garwood(row["events"], row["trials"])) == pytest.approx(limits, abs=SIX_DECIMALS)


@rows(lambda row: "garwood_per_100" in row["expect"])
def test_the_exact_limits_of_a_published_rate_per_100_patient_years(row: Row) -> None:
    """The exposure is not printed; the row's is the one that reproduces the printed limits."""
    _rate, *limits = row["expect"]["garwood_per_100"]
    assert garwood_in_printed_unit(row) == pytest.approx(limits, abs=SIX_DECIMALS)
    assert agrees_with_print(row, garwood_in_printed_unit(row))


@rows(lambda row: has_printed_limits(row) and row["trials"])
def test_no_printed_limits_of_the_trade_are_wilsons(row: Row) -> None:
    """So a page that shows Wilson's limits beside a paper's must name its method."""
    assert "wilson" not in row["methods_matching"]
    assert not agrees_with_print(row, 100 * np.array(wilson(row["events"], row["trials"])))


@rows(lambda row: has_printed_limits(row) and row["trials"])
def test_printed_limits_are_garwoods_only_where_the_row_says_so(row: Row) -> None:
    """6/336, 83/1,539 and 1/50 tell the exact binomial limits from the exact Poisson ones."""
    assert agrees_with_print(row, garwood_in_printed_unit(row)) == ("garwood" in row["methods_matching"])


@rows(lambda row: has_printed_limits(row) and row["trials"])
def test_printed_limits_are_exact_or_mid_p_only_where_the_row_says_so(row: Row) -> None:
    """Seven of the trade's printed intervals are Clopper and Pearson's; 6/336, 1/50 and 6/137 are nobody else's."""
    counts, matching = (row["events"], row["trials"]), row["methods_matching"]
    exact = agrees_with_print(row, 100 * np.array(clopper_pearson(*counts)))
    assert exact == ("clopper_pearson" in matching)
    assert exact == (row["method"] == "clopper_pearson")
    assert agrees_with_print(row, 100 * np.array(mid_p(*counts))) == ("mid_p" in matching)


def test_the_series_holds_what_the_rows_above_need() -> None:
    """A test over no rows would pass: how many rows each of them had when the series was compiled."""
    printed = [row for row in SERIES if has_printed_limits(row)]
    assert len(SERIES) == 101
    assert sum("wilson" in row["expect"] for row in SERIES) == 93
    assert sum("clopper_pearson" in row["expect"] and "mid_p" in row["expect"] for row in SERIES) == 93
    assert sum("garwood_per_1000" in row["expect"] for row in SERIES) == 51
    assert sum(row["trials"] is None for row in printed) == 8
    assert sum("garwood" in row["methods_matching"] for row in printed) == 8 + 3
    assert sum("clopper_pearson" in row["methods_matching"] for row in printed) == 7
    assert sum("mid_p" in row["methods_matching"] for row in printed) == 2
