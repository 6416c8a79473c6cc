"""Bands and figures of two digits."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.deidentify.coarsening import BANDED, band, bands, coarser, two_digits
from registry.deidentify.rules import Form
from registry.terms import UNKNOWN

pytestmark = pytest.mark.pure

amounts = st.decimals(0, 999_999_999, places=3)


@pytest.mark.parametrize(
    ("age", "expected"), [(0, "0 to 9"), (19, "10 to 19"), (71, "70 to 79"), (89, "80 to 89")]
)
def test_an_age_leaves_as_its_ten_years(age: int, expected: str) -> None:
    assert band(Form.AGE_BAND, age) == expected


@pytest.mark.parametrize("age", [90, 91, 104, 120])
def test_ages_from_90_are_one(age: int) -> None:
    """45 CFR 164.514(b)(2)(i)(C): ages over 89 may be aggregated into a single category of age 90 or older."""
    assert band(Form.AGE_BAND, age) == "90 and over"


@pytest.mark.parametrize(
    ("minutes", "expected"),
    [(-3, "before"), (0, "0 to 4"), (Decimal("4.9"), "0 to 4"), (5, "5 to 9"), (100_000, "240 and over")],
)
def test_minutes_leave_as_bands(minutes: Decimal | int, expected: str) -> None:
    assert band(Form.TIME_BAND, minutes) == expected


def test_an_occlusion_stays_on_its_side_of_three_months() -> None:
    """Three months is the usual limit of a chronic total occlusion (common practice, no source)."""
    assert (band(Form.MONTH_BAND, Decimal("2.9")), band(Form.MONTH_BAND, 3)) == ("0 to 2", "3 to 11")


@given(st.sampled_from(sorted(BANDED)), amounts)
def test_every_amount_has_a_band_that_is_listed(form: Form, amount: Decimal) -> None:
    assert band(form, amount) in bands(form)


@pytest.mark.parametrize("form", sorted(BANDED))
def test_no_band_can_be_read_as_a_date_or_a_formula(form: Form) -> None:
    assert all("-" not in label and "/" not in label and label[0].isalnum() for label in bands(form))


@pytest.mark.parametrize(
    ("value", "expected"),
    [(285, 280), (2140, 2100), (Decimal("12.9"), 12), (Decimal("0.997"), Decimal("0.99")), (7, 7), (0, 0)],
)
def test_a_figure_is_cut_to_two_digits(value: Decimal | int, expected: Decimal | int) -> None:
    assert two_digits(value) == expected


@given(amounts, st.integers(1, 99), st.integers(-2, 6))
def test_a_figure_below_a_threshold_of_two_digits_stays_below_and_one_above_stays_above(
    amount: Decimal, digits: int, exponent: int
) -> None:
    """So a criterion such as haemoglobin below 11 g/dl reads the same from a release."""
    threshold = Decimal(digits).scaleb(exponent)
    assert (two_digits(amount) < threshold) == (amount < threshold)


@given(amounts)
def test_a_cut_figure_is_less_than_a_tenth_away(amount: Decimal) -> None:
    cut = Decimal(two_digits(amount))
    assert amount - amount / 10 <= cut <= amount


@pytest.mark.parametrize("form", [*sorted(BANDED), Form.TWO_DIGITS])
def test_unknown_stays_unknown(form: Form) -> None:
    assert coarser(form, UNKNOWN) == UNKNOWN


def test_a_text_is_never_passed_on_as_a_figure() -> None:
    with pytest.raises(ValueError, match="not a text"):
        coarser(Form.TWO_DIGITS, "12 Main Street")
