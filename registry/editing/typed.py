"""What a person typed or chose as a value of the case document, one field at a time. Pure."""

from __future__ import annotations

import re
from decimal import Decimal

from registry import field_kinds as kinds
from registry.canonical import Json, shortest
from registry.documents.shape import shape
from registry.field_kinds import Field
from registry.terms import OTHER, UNKNOWN
from registry.vocabulary import word_lists

_NUMBER = re.compile(r"([+-]?)([0-9]+)(?:[.,]([0-9]+))?", re.ASCII)
_BETWEEN = re.compile(r"\s*;\s*|\s*,\s+|\s+")
_DIGITS, _DECIMALS = 9, 3

MAY_BE_UNKNOWN = (kinds.Number, kinds.Person, kinds.Model)
"""Kinds that are typed, and of which `?` says that they are not known."""


class Unreadable(Exception):
    """The text is no value of its kind; `says` what is the matter and `allowed` what may stand there."""

    def __init__(self, says: str, allowed: str) -> None:
        super().__init__(f"{says}; allowed: {allowed}")
        self.says, self.allowed = says, allowed


def value_of(text: str, kind: Field) -> Json:
    """The value that a text means in a field of this kind, None for an empty one; Unreadable where it means none.

    `?` is unknown, `2,5` is 2.5; a list takes its values with a semicolon or a space between them.
    """
    if isinstance(kind, kinds.List):
        parts = [part for part in _BETWEEN.split(text.strip()) if part]
        return [value_of(part, kind.item) for part in parts] or None
    if not isinstance(kind, kinds.Text | kinds.Identifier):
        text = text.strip()
    if text == "":
        return None
    if text == "?" and isinstance(kind, MAY_BE_UNKNOWN) and allows_unknown(kind):
        return UNKNOWN
    value = _number(text, kind) if isinstance(kind, kinds.Number | kinds.Position) else text
    for finding in shape(value, kind):
        if isinstance(kind, kinds.Number):
            raise Unreadable(finding.says, number_allowed(kind))
        raise Unreadable(finding.says, finding.allowed)
    return value


def allows_unknown(kind: Field) -> bool:
    """Whether a typed field of this kind may be said to be not known."""
    return isinstance(kind, MAY_BE_UNKNOWN) and (not isinstance(kind, kinds.Number) or kind.unknown)


def number_allowed(kind: kinds.Number) -> str:
    """What may stand in a number's field, in words."""
    low, high = kind.hard
    unit = f" {kind.unit}" if kind.unit else ""
    whole = "a whole number" if kind.whole else "a number"
    unknown = ", or ? for not known" if kind.unknown else ""
    return f"{whole} from {low:,.12g} to {high:,.12g}{unit}{unknown}"


def _number(text: str, kind: kinds.Number | kinds.Position) -> Json:
    allowed = number_allowed(kind) if isinstance(kind, kinds.Number) else "a whole number"
    if text == UNKNOWN and isinstance(kind, kinds.Number) and kind.unknown:
        return UNKNOWN
    found = _NUMBER.fullmatch(text.replace("\u2212", "-"))
    if not found:
        raise Unreadable("not a number", allowed)
    sign, whole, decimals = found[1], found[2].lstrip("0") or "0", (found[3] or "").rstrip("0")
    if len(whole) > _DIGITS or len(decimals) > _DECIMALS:
        raise Unreadable(f"more than {_DIGITS} digits or {_DECIMALS} decimals", allowed)
    number = shortest(Decimal(f"{whole}.{decimals or 0}"))
    return -number if sign == "-" else number


def fits_scale(grade: Json, scale: Json) -> bool:
    """Whether a grade, or none, may stand beside a scale; without a scale only `unknown` says anything."""
    if grade is None:
        return True
    if scale in (None, UNKNOWN, OTHER):
        return grade in ((UNKNOWN, OTHER) if scale == OTHER else (UNKNOWN,))
    lists = word_lists()
    return f"grade_{scale}" in lists and grade in lists[f"grade_{scale}"]
