"""Exact values made coarser: bands, and figures cut down to two digits. No Django.

Bands read `10 to 19`, not `10-19`, which spreadsheets turn into a date.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from decimal import ROUND_DOWN, Decimal
from functools import lru_cache
from itertools import pairwise

from registry.canonical import shortest
from registry.deidentify.rules import Form
from registry.terms import UNKNOWN

Number = int | Decimal
OLDEST = 90
"""Ages from here on are one band: 45 CFR 164.514(b)(2)(i)(C)."""


def _labels(starts: Sequence[int], below: str | None = None) -> tuple[tuple[float, str], ...]:
    """The starts of bands of whole numbers with their labels: the last is open, so is `below` where there is one."""
    inner = [(float(low), f"{low} to {high - 1}") for low, high in pairwise(starts)]
    first = [] if below is None else [(-math.inf, below)]
    return (*first, *inner, (float(starts[-1]), f"{starts[-1]} and over"))


_MINUTES = (0, 5, 10, 20, 30, 60, 120, 240)
_BANDS: Mapping[Form, tuple[tuple[float, str], ...]] = {
    Form.AGE_BAND: _labels(range(0, OLDEST + 1, 10)),
    Form.TIME_BAND: _labels(_MINUTES, below="before"),
    Form.DURATION_BAND: _labels(_MINUTES),
    Form.MONTH_BAND: _labels((0, 3, 12, 36, 120)),
    Form.WEIGHT_BAND: _labels(range(50, 121, 10), below="under 50"),
}
_PARTED = {form: tuple(zip(*both, strict=True)) for form, both in _BANDS.items()}
BANDED = frozenset(_BANDS)
"""The forms whose values are bands."""


def bands(form: Form) -> list[str]:
    """The labels of a form's bands in order; none where the form has no bands."""
    return [label for _, label in _BANDS.get(form, ())]


def band(form: Form, value: Number) -> str:
    """The band in which a number lies; a fraction belongs to the whole number below it.

    ValueError below the first band.
    """
    starts, labels = _PARTED[form]
    at = bisect_right(starts, value)
    if not at:
        raise ValueError(f"{form} has no place for {value}")
    return labels[at - 1]


def two_digits(value: Number) -> Number:
    """A number cut down, never up, to its two leading digits, so that it stays below what it was below.

    >>> two_digits(Decimal("12.9")), two_digits(2140)
    (12, 2100)
    """
    number = Decimal(value)
    if number == 0:
        return 0
    return shortest(number.quantize(Decimal(1).scaleb(number.adjusted() - 1), ROUND_DOWN))


@lru_cache(maxsize=1 << 14)
def coarser(form: Form, value: Number | str) -> Number | str:
    """A number in the coarser form; `unknown` stays unknown."""
    if isinstance(value, str):
        if value != UNKNOWN:
            raise ValueError("a number or unknown is made coarser, not a text")
        return UNKNOWN
    return _COARSER[form](value)


def _banding(form: Form) -> Callable[[Number], Number | str]:
    return lambda value: band(form, value)


_COARSER: Mapping[Form, Callable[[Number], Number | str]] = {
    **{form: _banding(form) for form in _BANDS},
    Form.TWO_DIGITS: two_digits,
}
