"""Pseudonyms of one release."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.deidentify.pseudonyms import Pseudonyms

pytestmark = pytest.mark.pure

keys = st.binary(min_size=32, max_size=32)


@given(keys, st.text(max_size=20))
def test_a_case_keeps_its_pseudonym_within_a_release(key: bytes, code: str) -> None:
    assert Pseudonyms(key).of_case(code) == Pseudonyms(key).of_case(code)


@given(keys, keys, st.text(max_size=20))
def test_another_release_gives_another_pseudonym(one: bytes, other: bytes, code: str) -> None:
    same = one == other
    assert (Pseudonyms(one).of_case(code) == Pseudonyms(other).of_case(code)) == same


@given(keys, st.text(max_size=20))
def test_a_site_and_a_case_of_one_code_have_nothing_in_common(key: bytes, code: str) -> None:
    assert Pseudonyms(key).of_case(code)[1:] != Pseudonyms(key).of_site(code)[1:]


@given(keys, st.text(max_size=20))
def test_a_pseudonym_is_a_letter_and_twelve_letters_or_digits(key: bytes, code: str) -> None:
    assert re.fullmatch(r"P[0-9A-HJKMNP-TV-Z]{12}", Pseudonyms(key).of_case(code))


def test_keys_are_drawn_anew_and_not_shown() -> None:
    one, other = Pseudonyms.drawn(), Pseudonyms.drawn()
    assert one.key != other.key
    assert repr(one) == "Pseudonyms()"


def test_ten_thousand_cases_have_ten_thousand_pseudonyms() -> None:
    pseudonyms = Pseudonyms.drawn()
    assert len({pseudonyms.of_case(str(number)) for number in range(10_000)}) == 10_000
