"""How alike cases are in what was recorded of them; it never says that one will end like another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from analytics.statistics._inputs import (
    LARGEST_COUNT,
    NUMBER_KINDS,
    BoolArray,
    FloatArray,
    amounts,
    read_only,
)

Kind = Literal["number", "category", "asymmetric"]
KINDS = ("number", "category", "asymmetric")

Values = Sequence[Any] | NDArray[Any] | Mapping[str, Any]

NO_CODE = -1
"""The code of a missing value."""

_FIXED = "must be texts or numbers, not lists or tables"

Scores = tuple[BoolArray, FloatArray | BoolArray]
"""Where a variable can be compared, and how alike it is there, from 0 to 1; 0 elsewhere."""


@dataclass(frozen=True, slots=True, eq=False)
class Codes:
    """A column of a category by code, `NO_CODE` where it is missing: a byte a row up to 128 different values.

    For many comparisons with `gower`: the same results as of the values themselves, many times faster. `code_of` has
    the code of each value that is in it; `codes` are read-only.
    """

    codes: NDArray[np.signedinteger[Any]]
    code_of: Mapping[Any, int]

    def __len__(self) -> int:
        return len(self.codes)

    @classmethod
    def of(cls, values: Iterable[Any]) -> Codes:
        """The column by code; None and NaN are missing. ValueError for what has no fixed value, such as a list."""
        listed = values.tolist() if isinstance(values, np.ndarray) else list(values)
        code_of: dict[Any, int] = {}
        try:
            found = [
                NO_CODE if _is_missing(value) else code_of.setdefault(value, len(code_of)) for value in listed
            ]
        except TypeError:
            raise ValueError(f"values: {_FIXED}") from None
        return cls(read_only(np.array(found, dtype=np.min_scalar_type(-max(len(code_of), 1)))), code_of)


def gower(
    query: Values,
    rows: Sequence[Values] | NDArray[Any] | Mapping[str, Sequence[Any] | NDArray[Any] | Codes],
    kinds: Sequence[Kind] | Mapping[str, Kind],
    weights: Values | None = None,
    ranges: Values | None = None,
) -> FloatArray:
    """Gower's similarity of `query` to each of `rows`, from 0 to 1: the weighted mean over their variables.

    `kinds` says what each variable is; the others follow its order: `query` one value a variable, `rows` one
    such sequence a row. Where `kinds` is a mapping from names, all are, and `rows` maps each name to its
    column, which is the faster form; a category's may be kept as `Codes`, the fastest. A pair of values scores
    - "number": 1 less their difference in ranges, never below 0;
    - "category": 1 if equal, else 0;
    - "asymmetric" (1 or 0, True or False): as a category, but two 0 say nothing and are left out.
    A missing value (None or NaN) on either side leaves the variable out for that row, its weight too. Where
    nothing is left the result is NaN: not comparable, which is not 0. No rows: an empty array.

    `weights`: 0 or more for each variable, all 1 unless given. The range of a number is that of rows and query
    together, so a further row may change all similarities; `ranges` (one a variable, None where not
    given) fixes it. Where it is 0, equal values score 1 and others, with a given range of 0, score 0.

    Raises ValueError, naming the argument, for kinds there are not, for rows of another length, for values
    that are not of their kind, and for weights or ranges that are negative, not finite or (weights) all 0.

    Source: Gower, Biometrics 1971;27:857-871, equation 3 and section 3.

    Example: gower([40, "a"], [[40, "a"], [60, "a"], [60, "b"]], ["number", "category"]) gives 1, 0.5 and 0.
    """
    names, told, columns = _by_variable(query, rows, kinds)
    importance = _weights(names, weights)
    spans = _ranges(names, ranges)
    length = len(columns[0])
    total, weight = np.zeros(length), np.zeros(length)
    for place, (name, kind) in enumerate(names.items()):
        if kind == "number":
            compared, score = _alike_numbers(name, told[place], columns[place], spans[place])
        elif kind == "category":
            compared, score = _alike_categories(name, told[place], columns[place])
        else:
            compared, score = _alike_presences(name, told[place], columns[place])
        total += importance[place] * score
        weight += importance[place] * compared
    similarity = np.full(length, np.nan)
    np.divide(total, weight, out=similarity, where=weight > 0)
    np.minimum(similarity, 1.0, out=similarity)
    return similarity


def _by_variable(query: Any, rows: Any, kinds: Any) -> tuple[dict[Any, Any], list[Any], list[Any]]:
    """The kinds by name or place, and in their order the values of the query and the columns of the rows."""
    if isinstance(kinds, str) or not isinstance(kinds, Sequence | Mapping) or not kinds:
        raise ValueError("kinds: must say the kind of at least one variable")
    names = dict(kinds) if isinstance(kinds, Mapping) else dict(enumerate(kinds))
    for name, kind in names.items():
        if kind not in KINDS:
            raise ValueError(f"kinds: {name} must be one of {', '.join(KINDS)}, not {kind!r}")
    if np.ma.is_masked(rows) or np.ma.is_masked(query):
        raise ValueError("query and rows: hold masked values; give them as None")
    told = _per_variable("query", names, query)
    if isinstance(kinds, Mapping):
        columns = _per_variable("rows", names, rows)
        if any(np.ma.is_masked(column) for column in columns):
            raise ValueError("rows: hold masked values; give them as None")
        lengths = {len(column) for column in columns}
        if len(lengths) > 1:
            raise ValueError(f"rows: columns must be equally long, but are {sorted(lengths)}")
        return names, told, columns
    listed = rows.tolist() if isinstance(rows, np.ndarray) else _listed("rows", rows)
    for number, row in enumerate(listed):
        if isinstance(row, str | Mapping) or not isinstance(row, Iterable):
            raise ValueError(f"rows: row {number} is no sequence of values")
        if len(list(row)) != len(names):
            raise ValueError(f"rows: row {number} must have {len(names)} values, not {len(list(row))}")
    return names, told, list(zip(*listed, strict=True)) if listed else [()] * len(names)


def _per_variable(argument: str, names: Mapping[Any, Any], values: Any) -> list[Any]:
    """`values` in the order of the variables; ValueError where one lacks or is too many."""
    if isinstance(values, Mapping):
        if set(values) != set(names):
            odd = ", ".join(sorted(map(str, set(values) ^ set(names))))
            raise ValueError(f"{argument}: must name the same variables as kinds; odd are {odd}")
        return [values[name] for name in names]
    listed = _listed(argument, values)
    if len(listed) != len(names):
        raise ValueError(f"{argument}: must have {len(names)} values, one a variable, not {len(listed)}")
    return listed


def _listed(argument: str, values: Any) -> list[Any]:
    if isinstance(values, str) or not isinstance(values, Iterable):
        raise ValueError(f"{argument}: must be a sequence, not {values!r}")
    return values.tolist() if isinstance(values, np.ndarray) else list(values)


def _weights(names: Mapping[Any, Any], weights: Any) -> FloatArray:
    if weights is None:
        return np.ones(len(names))
    importance = amounts("weights", _per_variable("weights", names, weights))
    if not importance.any():
        raise ValueError("weights: at least one must be above 0")
    scaled: FloatArray = importance / importance.max()
    return scaled


def _ranges(names: Mapping[Any, Any], ranges: Any) -> list[float | None]:
    if ranges is None:
        return [None] * len(names)
    listed = _per_variable("ranges", names, ranges)
    given = [None if value is None else amounts("ranges", value) for value in listed]
    if any(value is not None and value.ndim for value in given):
        raise ValueError("ranges: must be one number, or None, for each variable")
    return [None if value is None else float(value) for value in given]


def _is_missing(value: Any) -> bool:
    return value is None or bool(value != value)


def _never(length: int) -> Scores:
    nowhere = np.zeros(length, dtype=np.bool_)
    return nowhere, nowhere


def _alike_numbers(name: object, told: Any, column: Any, known_range: float | None) -> Scores:
    numbers, own = _numbers(name, column), _numbers(name, [told])
    # Halves, for the difference of two numbers may be beyond what a float holds.
    both = np.append(numbers, own) / 2
    known = both[~np.isnan(both)]
    if known_range is not None:
        span = known_range / 2
    else:
        span = float(known.max() - known.min()) if known.size else 0.0
    apart = np.abs(numbers / 2 - own / 2)
    compared = ~np.isnan(apart)
    if span == 0:
        return compared, apart == 0
    return compared, np.where(compared, 1 - np.minimum(apart, span) / span, 0.0)


def _alike_categories(name: object, told: Any, column: Any) -> Scores:
    if isinstance(column, Codes):
        return _alike_codes(name, told, column)
    numbers = isinstance(column, np.ndarray) and column.dtype.kind in NUMBER_KINDS and column.ndim == 1
    if numbers and isinstance(told, int | float) and not abs(told) > LARGEST_COUNT:
        return _alike_in_numbers(told, column)
    values = column.tolist() if isinstance(column, np.ndarray) else column
    try:
        different = {told, *values}
    except TypeError:
        raise ValueError(f"query and rows: {name}: {_FIXED}") from None
    known = set() if _is_missing(told) else {value for value in different if not _is_missing(value)}
    compared = np.fromiter((value in known for value in values), dtype=np.bool_, count=len(values))
    alike = np.fromiter((value == told for value in values), dtype=np.bool_, count=len(values))
    return compared, alike & compared


def _alike_codes(name: object, told: Any, column: Codes) -> Scores:
    """Categories by code; a value that is in no row is like none of them."""
    if _is_missing(told):
        return _never(len(column))
    try:
        code = column.code_of.get(told, len(column.code_of))
    except TypeError:
        raise ValueError(f"query and rows: {name}: {_FIXED}") from None
    return column.codes != NO_CODE, column.codes == code


def _alike_in_numbers(told: float, column: NDArray[Any]) -> Scores:
    """Categories that are numbers already."""
    if told != told:
        return _never(len(column))
    return ~np.isnan(column), column == told


def _alike_presences(name: object, told: Any, column: Any) -> Scores:
    there, own = _numbers(name, column, yes_or_no=True), _numbers(name, [told], yes_or_no=True)
    compared = ~(np.isnan(there) | np.isnan(own) | ((there == 0) & (own == 0)))
    return compared, compared & (there * own == 1)


def _numbers(name: object, column: Any, yes_or_no: bool = False) -> FloatArray:
    """A column as floats, NaN where missing."""
    try:
        if not isinstance(column, np.ndarray) or column.dtype.kind == "O":
            column = [np.nan if value is None else value for value in column]
        array = np.asarray(column)
    except (TypeError, ValueError):
        raise ValueError(f"query and rows: {name} must be one row of numbers") from None
    if array.ndim != 1 or array.dtype.kind not in (NUMBER_KINDS + "b" if yes_or_no else NUMBER_KINDS):
        raise ValueError(f"query and rows: {name} must hold numbers, not {array.dtype.name}")
    array = array.astype(np.float64)
    if np.isinf(array).any():
        raise ValueError(f"query and rows: {name} must be finite")
    if yes_or_no and not np.isin(array[~np.isnan(array)], (0.0, 1.0)).all():
        raise ValueError(f"query and rows: {name} is asymmetric and must hold 1 or 0")
    return array
