"""What a reader can work out from published counts; it finds what can be derived, not what is known elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.statistics._inputs import (
    BoolArray,
    FloatArray,
    amounts,
    counts,
    require_same_shape,
    successes_in_trials,
)

MINIMUM = 11  # the smallest count above 0 that may be published


class Ranges(NamedTuple):
    """The least and the greatest that each cell can be; equal where its value is published or can be derived."""

    lower: FloatArray
    upper: FloatArray


def smallest_shown(minimum: object) -> int:
    """`minimum` as a whole number; ValueError unless it is one of 2 or more."""
    if isinstance(minimum, bool) or not isinstance(minimum, int | np.integer) or minimum < 2:
        raise ValueError(f"minimum: must be a whole number of 2 or more, such as 11, not {minimum!r}")
    return int(minimum)


def is_small(count: FloatArray, minimum: int) -> BoolArray:
    """Whether each count may not be told: above 0 and below `minimum`."""
    return (count > 0) & (count < minimum)


def attack(masked: Any, margins: ArrayLike | Sequence[ArrayLike | None]) -> Ranges:
    """The range in which each hidden cell of a table must lie, given all that is published, by linear programming.

    `masked` is a masked array of counts, one row or a table, its masked cells those hidden; a plain array hides
    none. `margins` are the totals published: of one row its total; of a table `(row totals, column totals)`,
    each None where not published. Returns `(lower, upper)` in the shape of the table, whole numbers as
    floats, infinity where nothing bounds a cell. A cell whose lower and upper are equal is exposed.

    The attack knows the totals and the cells shown, and that counts are not negative; who knows more (one
    contributor, another table of the same people) can derive more.

    Raises ValueError, naming the argument, for more than two dimensions, for counts that are none and for
    margins that are of another length or that no hidden counts can agree with.

    Source: FCSM Statistical Policy Working Paper 22, revised 2005 (audit of a suppression pattern); the ranges
    are of whole numbers because tables with totals are transportation problems.

    Example: attack(np.ma.masked_equal([40, -1, -1], -1), 60).upper gives 40, 20 and 20.
    """
    shown, hidden = _masked_counts("masked", masked)
    sums, totals = _equations(hidden, shown, margins)
    lower, upper = shown.copy(), shown.copy()
    if hidden.any():
        lower[hidden], upper[hidden] = _extremes(sums, totals)
    elif totals.any():
        raise ValueError("margins: do not agree with the cells shown")
    return Ranges(lower, upper)


def _masked_counts(name: str, values: Any) -> tuple[FloatArray, BoolArray]:
    """Counts, 0 where masked, and which are."""
    if not isinstance(values, np.ma.MaskedArray):
        plain = counts(name, values)
        return plain, np.zeros(plain.shape, dtype=np.bool_)
    hidden = np.ma.getmaskarray(values)
    return counts(name, np.where(hidden, values.dtype.type(0), values.data)), hidden


def _equations(hidden: BoolArray, shown: FloatArray, margins: Any) -> tuple[FloatArray, FloatArray]:
    """For each published total: which of the hidden cells it sums, and what they must add up to."""
    if hidden.ndim == 1:
        published: Any = [None, [margins]]
    elif hidden.ndim != 2:
        raise ValueError(f"masked: must be a row or a table, not of {hidden.ndim} dimensions")
    elif isinstance(margins, str) or not isinstance(margins, Sequence | np.ndarray) or len(margins) != 2:
        raise ValueError("margins: must be the row totals and the column totals, None where not published")
    else:
        published = margins
    cells, known = (array[:, np.newaxis] if array.ndim == 1 else array for array in (hidden, shown))
    places = np.argwhere(cells)
    sums, totals = [np.zeros((0, len(places)))], [np.zeros(0)]
    for axis, told in enumerate(published):
        if told is None:
            continue
        total = counts("margins", told)
        if total.shape != (cells.shape[axis],):
            raise ValueError(f"margins: {cells.shape[axis]} totals are needed, not {total.size}")
        sums.append((places[:, axis] == np.arange(len(total))[:, np.newaxis]).astype(np.float64))
        totals.append(total - known.sum(axis=1 - axis))
    return np.concatenate(sums), np.concatenate(totals)


def _extremes(sums: FloatArray, totals: FloatArray) -> tuple[FloatArray, FloatArray]:
    from scipy.optimize import linprog  # takes longer to load than all statistics together

    ends = np.zeros((2, sums.shape[1]))
    ends[1, ~sums.any(axis=0)] = np.inf  # in no published total
    for cell in np.flatnonzero(sums.any(axis=0)):
        for row, sign in enumerate((1.0, -1.0)):
            aim = np.zeros(sums.shape[1])
            aim[cell] = sign
            found = linprog(aim, A_eq=sums, b_eq=totals, bounds=(0, None), method="highs")
            if found.status != 0:
                raise ValueError("margins: no hidden counts agree with them and the cells shown")
            ends[row, cell] = np.round(found.x[cell])
    return ends[0], ends[1]


def difference_leaks(first: Any, second: Any, minimum: int = MINIMUM) -> BoolArray:
    """Whether two results differ by a count that may not be told: differencing of releases or of filters.

    `first` and `second` are counts, single or of one shape, each published with one selection of people (all
    sites, all but one; this month's release, last month's). Returns True where they differ by 1 to
    `minimum` - 1, either way; a cell masked in either is hidden and does not leak by it.

    Raises ValueError, naming the argument, for counts that are none, for unequal shapes and for a minimum that
    is not a whole number of 2 or more.

    Source: the rule that no count of 1 to 10 may be derivable, CMS Cell Size Suppression Policy, 26 January
    2024; differencing is common practice in its audit.

    Example: difference_leaks([120, 45], [113, 45]) gives True and False.
    """
    least = smallest_shown(minimum)
    (one, hidden_in_one), (other, hidden_in_other) = (
        _masked_counts("first", first),
        _masked_counts("second", second),
    )
    require_same_shape(first=one, second=other)
    return (is_small(np.abs(one - other), least) & ~hidden_in_one & ~hidden_in_other)[()]


def proportion_leaks(successes: ArrayLike, trials: ArrayLike, minimum: int = MINIMUM) -> BoolArray:
    """Whether "successes of trials" tells a count that may not be told: either, or what is left between them.

    Both are whole numbers, single or of one shape. True where the successes, the others (trials - successes) or
    the trials are 1 to `minimum` - 1; none and all may be told where there are trials enough. What leaks is
    hidden whole, count and complement.

    Raises ValueError, naming the argument, for counts that are none, for more successes than trials, for
    unequal shapes and for a minimum that is not a whole number of 2 or more.

    Source: CMS Cell Size Suppression Policy, 26 January 2024: no count of 1 to 10, shown or derivable from
    totals and complements; 0 may be shown.

    Example: proportion_leaks([50, 46, 30, 8], [57, 57, 30, 8]) gives True, False, False and True.
    """
    least = smallest_shown(minimum)
    won, tried = successes_in_trials(successes, trials)
    return (is_small(won, least) | is_small(tried - won, least) | is_small(tried, least))[()]


def percentage_leaks(percentage: float, trials: int, decimals: int = 1, minimum: int = MINIMUM) -> bool:
    """Whether a rounded percentage of so many trials tells a count that may not be told.

    `percentage` is from 0 to 100 as printed, with so many `decimals`; halves may have been rounded either way.
    True where every count that rounds to it would leak by `proportion_leaks`: the reader then knows that
    the count is small, and mostly which.

    Raises ValueError, naming the argument, for what is no percentage, no count or no number of decimals from 0
    to 10, and where no count of that many trials rounds to that percentage.

    Source: CMS Cell Size Suppression Policy, 26 January 2024: no percentage from which a count of 1 to 10 can be
    derived.

    Example: percentage_leaks(13.2, 53) gives True.
    """
    tried, told = counts("trials", trials), amounts("percentage", percentage)
    if tried.ndim or told.ndim or told > 100:
        raise ValueError("percentage and trials: must be one percentage from 0 to 100, and one count")
    if isinstance(decimals, bool) or not isinstance(decimals, int) or not 0 <= decimals <= 10:
        raise ValueError(f"decimals: must be a whole number from 0 to 10, not {decimals!r}")
    half = 0.5 * 10.0**-decimals + 1e-12
    least, most = (np.clip((told + step) * tried / 100, 0, tried) for step in (-half, half))
    first, last = float(np.ceil(least - 1e-9)), float(np.floor(most + 1e-9))
    if last < first or not tried:
        raise ValueError(f"percentage: no count of {tried:g} rounds to {told:g} %")
    if last - first > 2 * smallest_shown(minimum):  # more than can be small at both ends
        return False
    fitting = np.arange(first, last + 1)
    return bool(np.all(proportion_leaks(fitting, np.full(fitting.shape, tried), minimum)))
