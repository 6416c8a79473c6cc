"""Public codes: eight random Crockford base-32 characters and a check character. No Django.

Crockford's alphabet leaves out I, L, O and U; the check character is the value modulo 37 (Douglas Crockford,
"Base 32", from memory). A code says nothing about the case or person that it names.
"""

from __future__ import annotations

import secrets

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_CHECK = ALPHABET + "*~$=U"
LENGTH = 8
_READ_AS = str.maketrans({"O": "0", "I": "1", "L": "1"})


def new_code() -> str:
    """A code drawn at random, such as `7G4K2M9TX`; its check character is one of the alphabet, fit for an address."""
    while True:
        body = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))
        check = _check(body)
        if check in ALPHABET:
            return body + check


def tidied(typed: str) -> str:
    """A code as typed or read aloud, in the form in which it is stored; ValueError where it cannot be one."""
    text = typed.strip().upper().replace("-", "").replace(" ", "").translate(_READ_AS)
    if (
        len(text) != LENGTH + 1
        or any(letter not in ALPHABET for letter in text)
        or _check(text[:-1]) != text[-1]
    ):
        raise ValueError(
            f"{typed!r} is not a code: eight letters or digits and a check character that fits them"
        )
    return text


def _check(body: str) -> str:
    value = 0
    for letter in body:
        value = value * 32 + ALPHABET.index(letter)
    return _CHECK[value % 37]
