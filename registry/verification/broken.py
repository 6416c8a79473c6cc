"""How a break in the history is reported."""

from __future__ import annotations


class Broken(Exception):
    """The history is not whole; the message says which entry and case, and what is wrong with it."""


def entry_words(number: int, what: str, code: str | None) -> str:
    """An entry of the journal as a message names it."""
    return f"entry {number} ({what.replace('_', ' ')}{f' {code}' if code else ''})"
