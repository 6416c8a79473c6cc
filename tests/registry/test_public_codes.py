"""Public codes: random, without look-alike letters, and with a check character that catches slips."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from registry.public_codes import ALPHABET, LENGTH, new_code, tidied

codes = st.builds(new_code)


def test_the_alphabet_is_crockfords() -> None:
    """Douglas Crockford, "Base 32": ten digits and the letters without I, L, O and U (from memory)."""
    assert ALPHABET == "0123456789ABCDEFGHJKMNPQRSTVWXYZ"


def test_the_check_character_is_the_value_modulo_37() -> None:
    """Worked by hand: 0000000Z has the value 31, 00000015 has 37, 0000001A has 42."""
    assert [tidied(code) for code in ("0000000ZZ", "000000150", "0000001A5")]


def test_codes_are_fit_for_an_address_and_differ() -> None:
    drawn = {new_code() for _ in range(500)}
    assert len(drawn) == 500
    assert all(len(code) == LENGTH + 1 and set(code) <= set(ALPHABET) for code in drawn)


@given(codes, st.sampled_from([str.lower, lambda code: f" {code} ", lambda code: f"{code[:4]}-{code[4:]}"]))
def test_a_code_is_read_in_any_way_of_writing(code: str, written: object) -> None:
    assert callable(written)
    assert tidied(written(code)) == code


@pytest.mark.parametrize("typed", ["oooooo150", "OOOOOOI5O", "000000L50", "000000i5o"])
def test_look_alike_letters_are_read_as_the_digits(typed: str) -> None:
    assert tidied(typed) == "000000150"


@given(codes, st.integers(0, LENGTH), st.sampled_from(ALPHABET))
def test_one_wrong_character_is_noticed(code: str, place: int, wrong: str) -> None:
    assume(code[place] != wrong)
    with pytest.raises(ValueError, match="not a code"):
        tidied(code[:place] + wrong + code[place + 1 :])


@given(codes, st.integers(0, LENGTH - 2))
def test_two_neighbours_exchanged_are_noticed(code: str, place: int) -> None:
    assume(code[place] != code[place + 1])
    with pytest.raises(ValueError, match="not a code"):
        tidied(code[:place] + code[place + 1] + code[place] + code[place + 2 :])


@given(st.text())
def test_any_text_is_a_code_or_refused(text: str) -> None:
    try:
        assert len(tidied(text)) == LENGTH + 1
    except ValueError as error:
        assert "not a code" in str(error)
