"""Checks of what the statistics are given, shared by their modules; it refuses or passes on, never mends."""

from __future__ import annotations

import math
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

NUMBER_KINDS = "iuf"  # NumPy's letters for whole numbers and floats: no booleans, texts, dates or objects
SMALLEST_MEASURE, LARGEST_MEASURE = 1e-12, 1e15
LARGEST_COUNT = 2**53  # beyond it a float skips whole numbers

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Element = TypeVar("Element", bound=np.generic)


def amounts(name: str, values: ArrayLike) -> FloatArray:
    """`values` as floats in their shape; ValueError where one is not a number, finite, 0 or more."""
    array = _even_array(name, values)
    if array.dtype.kind not in NUMBER_KINDS:
        raise ValueError(f"{name}: must hold numbers, not {array.dtype.name}")
    whole = array.dtype.kind != "f"
    array = array.astype(np.float64)
    if not whole and not np.isfinite(array).all():
        raise ValueError(f"{name}: must be finite, without NaN or infinity")
    if array.min(initial=0.0) < 0:
        raise ValueError(f"{name}: must not be negative, found {array.min():g}")
    return array


def counts(name: str, values: ArrayLike) -> FloatArray:
    """As `amounts`, and every value a whole number."""
    given = _even_array(name, values)
    array = amounts(name, given)
    if given.dtype.kind == "f" and (broken := array != np.floor(array)).any():
        raise ValueError(f"{name}: must be whole numbers, found {array[broken][0]:g}")
    if array.max(initial=0.0) > LARGEST_COUNT:
        raise ValueError(f"{name}: must be at most {LARGEST_COUNT}, found {array.max():g}")
    return array


def indicators(name: str, values: ArrayLike) -> BoolArray:
    """`values`, each 1 or 0 (True or False), as booleans in their shape; ValueError where one is neither."""
    if (given := _even_array(name, values)).dtype.kind == "b":
        return given.astype(np.bool_)
    array = counts(name, values)
    if (array > 1).any():
        raise ValueError(f"{name}: must be 1 for yes or 0 for no, found {array.max():g}")
    return array.astype(np.bool_)


def successes_in_trials(
    successes: ArrayLike, trials: ArrayLike, names: tuple[str, str] = ("successes", "trials")
) -> tuple[FloatArray, FloatArray]:
    """Both as `counts` of one shape; ValueError by their `names` where there are more successes than trials."""
    won, tried = counts(names[0], successes), counts(names[1], trials)
    require_same_shape(**dict(zip(names, (won, tried), strict=True)))
    if (won > tried).any():
        raise ValueError(f"{names[0]}: must not be above {names[1]}")
    return won, tried


def require_same_shape(**arrays: FloatArray) -> None:
    """ValueError unless all that are not single numbers have one shape: nothing else is stretched to fit."""
    shapes = {name: array.shape for name, array in arrays.items() if array.ndim}
    if len(set(shapes.values())) > 1:
        found = ", ".join(f"{name} has {shape}" for name, shape in shapes.items())
        raise ValueError(f"{' and '.join(shapes)}: must have the same shape, but {found}")


def confidence_level(confidence: object) -> float:
    """`confidence` as a float; ValueError unless it is one number strictly between 0 and 1."""
    if not isinstance(confidence, float) or not 0 < confidence < 1:
        raise ValueError(f"confidence: must be one number between 0 and 1, such as 0.95, not {confidence!r}")
    return confidence


def fraction(name: str, value: object) -> float:
    """`value` as a float; ValueError unless it is one number strictly between 0 and 1."""
    if not isinstance(value, float) or not 0 < value < 1:
        raise ValueError(f"{name}: must be one number between 0 and 1, not {value!r}")
    return float(value)


def measures(name: str, values: ArrayLike) -> FloatArray:
    """As `amounts`, each 0 or from 1e-12 to 1e15: products and powers of them stay within floats."""
    array = amounts(name, values)
    if ((array > 0) & ((array < SMALLEST_MEASURE) | (array > LARGEST_MEASURE))).any():
        raise ValueError(f"{name}: must be 0 or from {SMALLEST_MEASURE:g} to {LARGEST_MEASURE:g}")
    return array


def one_amount(name: str, value: Any) -> float:
    """`value` as a float; ValueError unless it is one finite number above 0."""
    array = amounts(name, value)
    if array.ndim or not array > 0:
        raise ValueError(f"{name}: must be one number above 0, not {value!r}")
    return float(array)


def row(name: str, array: NDArray[Element]) -> NDArray[Element]:
    """`array` with one axis, a single number as a row of one; ValueError where it has several axes."""
    if array.ndim > 1:
        raise ValueError(f"{name}: must be one row of numbers, not an array of shape {array.shape}")
    return np.atleast_1d(array)


def read_only(array: NDArray[Element]) -> NDArray[Element]:
    """The same array, which nobody can write to any more."""
    array.setflags(write=False)
    return array


def two_sided_quantile(confidence: object) -> float:
    """Normal quantile of (1 + confidence) / 2; by erfinv, which stays exact for levels close to 0 or 1."""
    return math.sqrt(2.0) * float(special.erfinv(confidence_level(confidence)))


def _even_array(name: str, values: ArrayLike) -> NDArray[Any]:
    if np.ma.is_masked(values):
        raise ValueError(f"{name}: holds masked values; leave them out or give numbers")
    try:
        return np.asarray(values)
    except (TypeError, ValueError):  # rows of unequal length, or nothing that NumPy can hold
        raise ValueError(f"{name}: must be one number or an even array of numbers") from None
