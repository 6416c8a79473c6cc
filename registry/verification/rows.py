"""Whether the rows of cases are those that their last versions make, column by column, the derived columns too."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import Any

from django.db.models import Model

from registry.canonical import Json
from registry.documents.rows import Names, NewRow
from registry.documents.tables import MODELS
from registry.models import Case, DeviceModel, Staff
from registry.recording.writing import laid_out

Place = tuple[tuple[str, int], ...]
"""Where a row hangs: names of tables with numbers in the lists, from the case down."""
Rows = dict[Place, tuple[Any, ...]]
_ELSEWHERE: Place = (("in another case or place", 0),)


class KnownNames:
    """The staff codes and device models of the registry, by which a document is laid out in rows again."""

    def __init__(self) -> None:
        self._staff: dict[int, dict[str, int]] = {}
        for site, code, key in Staff.objects.values_list("site_id", "code", "pk"):
            self._staff.setdefault(site, {})[code] = key
        self._models = dict(DeviceModel.objects.values_list("code", "pk"))

    def of(self, site: int) -> Names:
        """Those that cases of a site may name."""
        return Names(self._staff.get(site, {}), self._models)


def stored_rows(cases: Sequence[Case]) -> dict[int, list[tuple[Place, tuple[Any, ...]]]]:
    """The rows that hang on each case, by its primary key; a query for each table, however many cases."""
    found: dict[int, list[tuple[Place, tuple[Any, ...]]]] = {case.pk: [] for case in cases}
    places: dict[tuple[str, int, int], Place] = {}
    for model in sorted(MODELS, key=_depth):
        compared, holders = _columns(model), _holders(model)
        indexed = "index" if any(field.attname == "index" for field in model._meta.concrete_fields) else "pk"
        columns = ("pk", "case_id", indexed, *holders.values(), *compared)
        rows = model._base_manager.filter(**{"case__in": cases}).values_list(*columns)
        for pk, case, index, *values in rows:
            above = [
                places.get((name, key, case), _ELSEWHERE)
                for name, key in zip(holders, values, strict=False)
                if key is not None
            ]
            place = _hung(above, (model.__name__, index if indexed == "index" else 0))
            places[model.__name__, pk, case] = place
            found[case].append((place, tuple(values[len(holders) :])))
    return found


def _hung(above: list[Place], own: tuple[str, int]) -> Place:
    """The place below the lowest holder; holders that are not above each other make a place that nothing has."""
    lowest = max(above, key=len, default=())
    if any(lowest[: len(holder)] != holder for holder in above):
        lowest = _ELSEWHERE
    return (*lowest, own)


@cache
def _holders(model: type[Model]) -> dict[str, str]:
    """The foreign keys of a table to rows of the same case: name of the other table and column."""
    return {
        field.related_model.__name__: field.attname
        for field in model._meta.concrete_fields
        if field.related_model in MODELS
    }


def _depth(model: type[Model]) -> int:
    """How many rows hang above a row of this table at most, so that holders are read first."""
    by_name = {other.__name__: other for other in MODELS}
    return max((1 + _depth(by_name[name]) for name in _holders(model)), default=0)


@cache
def _columns(model: type[Model]) -> tuple[str, ...]:
    """The columns of a table that are compared: all but the keys by which it hangs."""
    hanging = {"id", "case_id", *_holders(model).values()}
    return tuple(field.attname for field in model._meta.concrete_fields if field.attname not in hanging)


def difference(
    case: Case, stored: Iterable[tuple[Place, tuple[Any, ...]]], clear: Mapping[str, Json], names: KnownNames
) -> str | None:
    """What in the rows of a case is not as its last version's clear document says, in words; None where all is."""
    try:
        columns, rows = laid_out(clear, names.of(case.site_id), site=case.site_id, state=case.state)
    except KeyError as missing:
        return f"its last version names {missing}, which the registry no longer knows"
    own = Case(site_id=case.site_id, document_id=clear["id"], **columns)
    for column in _columns(Case):
        if column not in _LIFE and getattr(case, column) != getattr(own, column):
            return _differs("the row of the case", column, getattr(case, column), getattr(own, column))
    expected = dict(_places(rows))
    seen: Rows = {}
    for place, values in stored:
        if place not in expected:
            return f"{_words(place)} is there, but its last version has none"
        if place in seen:
            return f"{_words(place)} is there twice"
        seen[place] = values
        if values != expected[place]:
            return _first_column(place, values, expected[place])
    if missing_places := expected.keys() - seen.keys():
        return f"{_words(min(missing_places))} is missing"
    return None


_LIFE = ("code", "state", "version", "erased")
"""Columns of the case that the journal answers for, not the document."""


def _places(rows: Iterable[NewRow], above: Place = ()) -> Iterator[tuple[Place, tuple[Any, ...]]]:
    for new in rows:
        model: type[Model] = type(new.row)
        place = (*above, (model.__name__, getattr(new.row, "index", 0)))
        yield place, tuple(getattr(new.row, column) for column in _columns(model))
        yield from _places((below for _, below in new.hanging), place)


def _first_column(place: Place, values: tuple[Any, ...], expected: tuple[Any, ...]) -> str:
    model = next(model for model in MODELS if model.__name__ == place[-1][0])
    column, found, wanted = next(
        pair for pair in zip(_columns(model), values, expected, strict=True) if pair[1] != pair[2]
    )
    return _differs(_words(place), column, found, wanted)


def _differs(row: str, column: str, found: Any, wanted: Any) -> str:
    return f"{row}: {column} is {_shown(found)}, its last version makes it {_shown(wanted)}"


def _words(place: Place) -> str:
    return "the row " + ", ".join(f"{name} {index + 1}" for name, index in place)


def _shown(value: Any) -> str:
    return "empty" if value is None else str(value)[:60]
