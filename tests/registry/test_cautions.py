"""The catalogue of cautions: every wording can be printed, and none says that one thing brought about another."""

from __future__ import annotations

import re
from string import Formatter

import pytest

from registry.cautions import CAUTIONS, Parameter, caution, cautioned

pytestmark = pytest.mark.pure

NEVER = (
    "caused", "causes", "works", "worked", "reduces", "reduced", "should", "better", "best", "proven", "proves",
    "deterioration", "outlier", "significant", "safe", "effective", "superior", "winner",
)  # fmt: skip
"""Words of cause, of ranking and of advice, which no count of what was recorded can bear."""


def filled_in(code: str) -> str:
    parameters: dict[str, Parameter] = {
        name: 7 for _, name, _, _ in Formatter().parse(CAUTIONS[code]) if name
    }
    return caution(code, **parameters)


def words_of(text: str) -> set[str]:
    return set(re.findall(r"[a-z]+", text.lower()))


@pytest.mark.parametrize("code", CAUTIONS)
def test_every_caution_is_a_whole_sentence_without_words_of_cause(code: str) -> None:
    printed = filled_in(code)
    assert words_of(printed).isdisjoint(NEVER), printed
    assert printed.endswith(".") and "{" not in printed


def test_the_scan_finds_what_it_looks_for() -> None:
    assert words_of("The snare works better.") & set(NEVER) == {"works", "better"}


def test_a_code_that_is_not_in_the_catalogue_is_refused() -> None:
    with pytest.raises(KeyError, match="never_written"):
        caution("never_written")
    with pytest.raises(KeyError, match="never_written"):
        cautioned("never_written")


def test_a_missing_parameter_is_named() -> None:
    with pytest.raises(ValueError, match="few_to_compare: the parameter trials is missing"):
        cautioned("few_to_compare", successes=3)


def test_a_parameter_that_is_not_asked_for_is_named() -> None:
    with pytest.raises(ValueError, match="observational: there is no parameter trials"):
        caution("observational", trials=4)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_is_no_finite_number_is_never_printed(value: float) -> None:
    with pytest.raises(ValueError, match="design_effect: must be a finite number"):
        caution("clustered", attempts=20, cases=10, design_effect=value)


def test_counts_are_printed_whole_and_other_figures_with_three_digits() -> None:
    printed = caution("none_seen", exposure=1_500, unit="uses", upper=2.4592529694092904, per=1_000)
    assert printed == "None seen in 1,500 uses: up to 2.46 per 1,000."
    assert "up to 3,690 per" in caution("none_seen", exposure=1, unit="use", upper=3688.879, per=1_000)
    assert "up to 0.000369 per" in caution(
        "none_seen", exposure=10**7, unit="uses", upper=0.0003688879, per=1_000
    )
