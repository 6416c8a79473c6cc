"""How answers are made of tables: limits of each row, months in a row, and what was left out. No query."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from analytics.answers import LeftOut
from analytics.cohorts import Reasons
from analytics.estimates import Limits


def limits_of(
    method: Callable[..., tuple[NDArray[np.float64], NDArray[np.float64]]],
    counted: Sequence[int],
    of: Sequence[int],
    per: int = 1,
) -> list[Limits]:
    """Lower and upper limit of each row, times `per`; None where there is nothing to divide by."""
    lower, upper = method(np.array(counted, dtype=np.int64), np.array(of, dtype=np.int64))
    return [
        (float(low) * per, float(high) * per) if total else (None, None)
        for low, high, total in zip(lower, upper, of, strict=True)
    ]


def each_month(first: datetime.date, last: datetime.date) -> Iterator[datetime.date]:
    """Every month by its first day, from that of one day to that of another."""
    month = first.replace(day=1)
    while month <= last:
        yield month
        month = (month + datetime.timedelta(days=31)).replace(day=1)


def left_out_of(reasons: Reasons, of: str) -> tuple[LeftOut, ...]:
    """Each reason that left something out, with how many of what."""
    return tuple(LeftOut(reason, count, of) for reason, count in reasons.items() if count)
