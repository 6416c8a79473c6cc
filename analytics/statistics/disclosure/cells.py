"""Small cells of a table of counts, hidden so that its totals don't tell them; it changes no count it shows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.statistics._inputs import BoolArray, FloatArray, counts
from analytics.statistics.disclosure.attacks import MINIMUM, is_small, smallest_shown

SEARCHED = 15  # so many cells that may be hidden beside the small ones make 32,768 patterns


def suppress_small_cells(
    table: ArrayLike, minimum: int = MINIMUM
) -> np.ma.MaskedArray[Any, np.dtype[np.int64]]:
    """The table with its small cells hidden, and as many others as keep its totals from telling them.

    `table` holds counts, one row or rows and columns, without totals; taken as published beside it are the
    total of a row, or all row totals and column totals of a table. Returns a masked array of its shape, hidden
    cells masked with 0 beneath. Small is 1 to `minimum` - 1; 0 may be shown. Of every hidden cell, small or not,
    `attack` finds more than one possible value, the greatest of them `minimum` or more.

    Beside the small cells those are hidden whose counts add up to least, fewest cells first where equal: by
    exact search where at most 15 cells come into question; beyond, for one small cell after another the
    rectangle with it that hides least, which may be more than necessary. In one row the smallest cell that is
    not small is always enough.

    Where a total itself is small no pattern can protect it: then all is masked, and neither the cells nor the
    totals may be published; merge rows or columns first. An empty table comes back empty.

    Raises ValueError, naming the argument, for more than two dimensions, for what is no count and for a
    minimum that is not a whole number of 2 or more.

    Sources: CMS Cell Size Suppression Policy, 26 January 2024 (1 to 10 not shown or derivable, 0 may be); FCSM
    Statistical Policy Working Paper 22 (complementary suppression, audit by linear programming).

    Example: suppress_small_cells([[34, 7, 12], [21, 15, 18], [16, 13, 14]]).sum() gives 104, the five cells shown.
    """
    least = smallest_shown(minimum)
    cells = counts("table", table)
    if cells.ndim not in (1, 2):
        raise ValueError(f"table: must be a row, or rows and columns, not of {cells.ndim} dimensions")
    hidden = is_small(cells, least)
    if hidden.any():
        hidden = _with_complements(cells, hidden, least)
    shown = np.where(hidden, 0, cells).astype(np.int64)
    return np.ma.MaskedArray(shown, mask=hidden)


def _with_complements(cells: FloatArray, small: BoolArray, least: int) -> BoolArray:
    totals = [cells.sum()] if cells.ndim == 1 else [*cells.sum(axis=0), *cells.sum(axis=1)]
    if is_small(np.array(totals), least).any():
        return np.ones(cells.shape, dtype=np.bool_)
    if cells.ndim == 2:
        return _pattern(cells, small, least)
    hidden = small.copy()
    if small.sum() < 2 or cells[small].sum() < least:  # any one cell that is not small makes up for it
        hidden[np.where(cells >= least, cells, np.inf).argmin()] = True
    return hidden


def _pattern(cells: FloatArray, small: BoolArray, least: int) -> BoolArray:
    told_by_totals = (cells.sum(axis=0) == 0) | (cells.sum(axis=1) == 0)[:, np.newaxis]
    candidates = np.argwhere(~small & ~told_by_totals)
    patterns = _by_cost(cells, small, candidates, least) if len(candidates) <= SEARCHED else iter(())
    for hidden in patterns:
        if not _exposed(cells, hidden, least).any():
            return hidden
    return _by_rectangles(cells, small, ~told_by_totals, least)


def _by_cost(
    cells: FloatArray, small: BoolArray, candidates: NDArray[np.intp], least: int
) -> Iterator[BoolArray]:
    """Patterns that hide the small cells and any of the candidates, by what else they hide; hopeless ones left out."""
    size = len(candidates)
    chosen = (np.arange(2**size)[:, np.newaxis] >> np.arange(size)) & 1
    values = cells[tuple(candidates.T)]
    hopeful = np.ones(len(chosen), dtype=np.bool_)
    for axis in (0, 1):
        line = candidates[:, axis] == np.arange(cells.shape[axis])[:, np.newaxis]
        number = chosen @ line.T + small.sum(axis=1 - axis)
        amount = chosen @ (line * values).T + (cells * small).sum(axis=1 - axis)
        hopeful &= ((number == 0) | ((number > 1) & (amount >= least))).all(axis=1)
    chosen = chosen[hopeful]
    for row in np.lexsort((chosen.sum(axis=1), chosen @ values)):
        hidden = small.copy()
        hidden[tuple(candidates[chosen[row] == 1].T)] = True
        yield hidden


def _exposed(cells: FloatArray, hidden: BoolArray, least: int) -> BoolArray:
    """Which hidden cells the totals tell, or bound below `least`.

    A cell can rise by as much as can flow back from its column to its row through other hidden cells, each
    row to column without bound and column to row up to the cell's count; and fall the other way round. More
    than `least` makes no difference, so flows are cut off there and stay whole numbers however large counts are.
    """
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import maximum_flow

    rows, columns = cells.shape
    capped = np.minimum(cells, least).astype(np.int32)
    onward = np.zeros((rows + columns, rows + columns), dtype=np.int32)
    onward[:rows, rows:] = np.where(hidden, least, 0)
    onward[rows:, :rows] = np.where(hidden, capped, 0).T
    exposed = np.zeros(cells.shape, dtype=np.bool_)
    for row, column in np.argwhere(hidden):
        others = onward.copy()
        others[row, rows + column] = others[rows + column, row] = 0
        arcs = csr_array(others)
        rise = maximum_flow(arcs, rows + column, row).flow_value
        fall = 0 if rise else min(maximum_flow(arcs, row, rows + column).flow_value, capped[row, column])
        exposed[row, column] = rise + fall == 0 or cells[row, column] + rise < least
    return exposed


def _by_rectangles(cells: FloatArray, small: BoolArray, may_hide: BoolArray, least: int) -> BoolArray:
    """For one exposed cell after another the cheapest rectangle by which it can reach `least`; at worst, all."""
    hidden = small.copy()
    while (exposed := _exposed(cells, hidden, least)).any():
        row, column = max(map(tuple, np.argwhere(exposed)), key=lambda place: (cells[place], place))
        cost = np.where(hidden, 0.0, cells)
        spare = np.minimum(cells[row, :], cells[:, column][:, np.newaxis])
        price = cost[row, :] + cost[:, column][:, np.newaxis] + cost
        fits = (spare >= least - cells[row, column]) & may_hide
        fits[row, :] = fits[:, column] = False
        added = hidden.copy()
        if fits.any():
            other_row, other_column = np.unravel_index(np.where(fits, price, np.inf).argmin(), cells.shape)
            added[[row, other_row, other_row], [other_column, column, other_column]] = True
        if (added == hidden).all():
            return may_hide | small
        hidden = added
    return hidden
