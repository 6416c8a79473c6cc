"""Disclosure control of a table of people; it measures and hides, and never says that nobody can be recognised."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.statistics._inputs import IntArray


def class_sizes(columns: Mapping[str, Sequence[Any] | NDArray[Any]]) -> IntArray:
    """The size of each row's class: how many rows, itself included, have the same values in all columns.

    `columns` maps names to sequences of one length, of hashable values (texts, numbers, None); a missing value is a
    value like any other. Returns whole numbers, one a row; their `min()` is the k of k-anonymity. No rows: an empty
    array.

    Raises ValueError, naming the argument, for no column, columns of unequal length, one text in the place of a
    column, and values that cannot be compared: NaN, lists.

    Source: Sweeney, Int J Uncertain Fuzziness Knowl-Based Syst 2002;10:557-570 (k-anonymity).

    Example: class_sizes({"year": [2024, 2024, 2025], "sex": ["f", "f", "m"]}) gives 2, 2 and 1.
    """
    if not columns:
        raise ValueError("columns: at least one is needed")
    values = {name: _column(name, column) for name, column in columns.items()}
    lengths = {name: len(column) for name, column in values.items()}
    if len(set(lengths.values())) > 1:
        found = ", ".join(f"{name} has {length}" for name, length in lengths.items())
        raise ValueError(f"columns: must have the same length, but {found}")
    rows = list(zip(*values.values(), strict=True))
    sizes = Counter(rows)
    return np.array([sizes[row] for row in rows], dtype=np.int64)


def _column(name: str, column: Any) -> list[Any]:
    if isinstance(column, str | bytes):
        raise ValueError(f"columns: {name} is one text, not a sequence of values")
    if np.ma.is_masked(column):
        raise ValueError(f"columns: {name} holds masked values; give them as None")
    values = column.tolist() if isinstance(column, np.ndarray) else list(column)
    for value in values:
        try:
            hash(value)
        except TypeError:
            raise ValueError(
                f"columns: {name} holds {type(value).__name__}, which has no fixed value"
            ) from None
        if value != value:
            raise ValueError(f"columns: {name} holds NaN, which equals nothing; give a missing value as None")
    return values
