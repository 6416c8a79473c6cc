"""Classes of people who share their describing values; a large class is no promise that nobody is recognised."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from analytics.statistics._inputs import FloatArray, IntArray


class Diversity(NamedTuple):
    """How many sensitive values the class of each row holds: `distinct` counts them, `entropy` weighs them.

    `entropy` is the exponential of the class's entropy, as many equally frequent values as would be as hard to
    guess: at most `distinct`, and 1 where all share one. The `min()` of each is the l of l-diversity.
    """

    distinct: IntArray
    entropy: FloatArray


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
    rows = _rows(columns)
    sizes = Counter(rows)
    return np.array([sizes[row] for row in rows], dtype=np.int64)


def l_diversity(
    columns: Mapping[str, Sequence[Any] | NDArray[Any]], sensitive: Sequence[Any] | NDArray[Any]
) -> Diversity:
    """The diversity of sensitive values in each row's class, by count and by entropy.

    `columns` make the classes, as in `class_sizes`; `sensitive` holds one value a row, missing ones as None,
    which count as a value. Returns `(distinct, entropy)`, one a row. A class of 1 is wholly told: somebody
    found in it has its value, however large it is. No rows: empty arrays.

    Raises ValueError, naming the argument, for what `class_sizes` refuses and for as many sensitive values as
    there are not rows.

    Source: Machanavajjhala, Kifer, Gehrke & Venkitasubramaniam, ACM Trans Knowl Discov Data 2007;1:3,
    definitions of distinct and entropy l-diversity.

    Example: l_diversity({"year": [2024, 2024, 2025]}, ["a", "b", "a"]).distinct gives 2, 2 and 1.
    """
    rows = _rows(columns)
    told = _column("sensitive:", sensitive)
    if len(told) != len(rows):
        raise ValueError(f"sensitive: must have one value a row, {len(rows)}, not {len(told)}")
    held: dict[Any, Counter[Any]] = {}
    for row, value in zip(rows, told, strict=True):
        held.setdefault(row, Counter())[value] += 1
    hard = {row: _equally_frequent(values) for row, values in held.items()}
    distinct = np.array([len(held[row]) for row in rows], dtype=np.int64)
    return Diversity(distinct, np.array([hard[row] for row in rows], dtype=np.float64))


def _equally_frequent(values: Counter[Any]) -> float:
    """As many equally frequent values as have the same entropy."""
    if len(values) == 1:
        return 1.0
    share = np.array(list(values.values())) / values.total()
    return min(float(np.exp(-(share * np.log(share)).sum())), float(len(values)))


def _rows(columns: Mapping[str, Any]) -> list[tuple[Any, ...]]:
    if not columns:
        raise ValueError("columns: at least one is needed")
    values = {name: _column(f"columns: {name}", column) for name, column in columns.items()}
    lengths = {name: len(column) for name, column in values.items()}
    if len(set(lengths.values())) > 1:
        found = ", ".join(f"{name} has {length}" for name, length in lengths.items())
        raise ValueError(f"columns: must have the same length, but {found}")
    return list(zip(*values.values(), strict=True))


def _column(name: str, column: Any) -> list[Any]:
    if isinstance(column, str | bytes) or not isinstance(column, Iterable):
        kind = "text" if isinstance(column, str | bytes) else "value"
        raise ValueError(f"{name} is one {kind}, not a sequence of values")
    if np.ma.is_masked(column):
        raise ValueError(f"{name} holds masked values; give them as None")
    values = column.tolist() if isinstance(column, np.ndarray) else list(column)
    for value in values:
        try:
            hash(value)
        except TypeError:
            raise ValueError(f"{name} holds {type(value).__name__}, which has no fixed value") from None
        if value != value:
            raise ValueError(f"{name} holds NaN, which equals nothing; give a missing value as None")
    return values
