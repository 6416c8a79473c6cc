"""Unique device identifiers in the GS1 form."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.device_identifiers import DeviceIdentifier, gtin_of, parse_udi

SAMPLE = "(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234"
"""FDA, formats of issuing agencies, version 1.3 (2017), the GS1 sample."""


def test_the_published_sample_is_read_part_by_part() -> None:
    assert parse_udi(SAMPLE) == DeviceIdentifier(
        gtin="51022222233336",
        made=datetime.date(2014, 12, 31),
        expires=datetime.date(2015, 7, 7),
        lot="A213B1",
        serial="1234",
    )


@pytest.mark.parametrize("prefix", ["", "]d2", "]C1", "]Q3"])
def test_a_scanned_identifier_reads_like_the_printed_one(prefix: str) -> None:
    scanned = "0151022222233336" + "11141231" + "17150707" + "10A213B1\x1d" + "211234"
    assert parse_udi(prefix + scanned) == parse_udi(SAMPLE)


@pytest.mark.parametrize(
    "gtin",
    [
        "51022222233336",
        "09506000134352",
        "10614141000415",
        "00012345678905",
        "04012345678901",
        "00614141999996",
    ],
)
def test_a_right_check_digit_is_accepted(gtin: str) -> None:
    """GS1 General Specifications: weights 3 and 1 from the left over 13 digits, the sum filled up to tens."""
    weighed = sum(int(digit) * (3, 1)[place % 2] for place, digit in enumerate(gtin[:13]))
    assert int(gtin[13]) == -weighed % 10
    assert gtin_of(f"(01){gtin}") == gtin


@pytest.mark.parametrize("last", "012345789")
def test_a_wrong_check_digit_is_told_and_gives_no_model(last: str) -> None:
    found = parse_udi(f"(01)3001234567890{last}(10)A1")
    assert found.gtin is None
    assert found.problem == f"the check digit of its device identifier 3001234567890{last} is wrong"
    assert found.lot == "A1"


def test_day_00_is_the_last_of_the_month() -> None:
    """GS1 General Specifications, from memory."""
    assert parse_udi("(01)51022222233336(17)240200").expires == datetime.date(2024, 2, 29)


def test_without_a_device_identifier_it_says_so() -> None:
    assert parse_udi("(10)A213B1").problem == "it has no device identifier (01)"


@pytest.mark.parametrize(
    "text", ["+A123BJC5D6E71G", "=/A9999XYZ100T0944", "any text", "(01)123", "(", "]d2", " "]
)
def test_other_forms_are_reported_as_not_read(text: str) -> None:
    found = parse_udi(text)
    assert found.problem
    assert found.gtin is None


_identifiers = st.sampled_from(
    ["00", "01", "02", "10", "11", "17", "21", "240", "3103", "3910", "7003", "8008", "99"]
)
_values = st.text("0123456789A\x1d", max_size=20)


@given(
    st.text()
    | st.text("()0123456789AB\x1d")
    | st.lists(st.tuples(_identifiers, _values)).map(
        lambda parts: "".join(f"({ai}){value}" for ai, value in parts)
    )
    | st.lists(st.tuples(_identifiers, _values)).map(lambda parts: "".join(ai + value for ai, value in parts))
)
def test_no_text_makes_it_fail(text: str) -> None:
    found = parse_udi(text)
    assert found.problem or (found.gtin is not None and len(found.gtin) == 14)
