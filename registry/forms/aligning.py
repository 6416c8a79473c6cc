"""Which row of a case is which row of a draft: the case as it stands now is given the draft's row keys. Pure.

A case's own document has no keys, so rows are paired by what they say, and a pair that is no more than likely is for
`merging_cases` to ask about.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from registry import case_fields as fields
from registry.canonical import Json
from registry.editing.places import BY_LIST, KEY, Draft, begun, copied, finished, last_key
from registry.field_kinds import List, Thing

Row = dict[str, Any]
_OWN = ("position", "after_position", "ref")
"""What changes in a row when others come or go."""


def aligned(document: Mapping[str, Json], base: Mapping[str, Json], mine: Mapping[str, Json]) -> Draft:
    """A document with the keys that its rows have in `base`, and what is new with keys that the draft never gave.

    `mine` is the draft that grew from `base`; what both added, word for word, is one row with the draft's key.
    """
    draft: Draft = copied(document)
    _align(draft, base, mine, fields.CASE)
    return begun(draft)


def _align(thing: Row, base: Mapping[str, Any], mine: Mapping[str, Any], kind: Thing) -> None:
    for name, inner in kind.fields.items():
        value = thing.get(name)
        if isinstance(inner, Thing) and value is not None:
            _align(value, base.get(name) or {}, mine.get(name) or {}, inner)
        elif isinstance(inner, List) and isinstance(inner.item, Thing) and value:
            _align_rows(value, name, base, mine, inner.item)


def _align_rows(
    rows: list[Row], name: str, base: Mapping[str, Any], mine: Mapping[str, Any], kind: Thing
) -> None:
    before, my = list(base.get(name) or []), list(mine.get(name) or [])
    first = BY_LIST[name].first
    pairs = _pairs(rows, before, first)
    old = {row[KEY] for row in before}
    added = [row for row in my if row[KEY] not in old]
    new = [row for index, row in enumerate(rows) if index not in pairs]
    last = max(last_key(base, name), last_key(mine, name))
    for index, row in enumerate(rows):
        was = pairs.get(index)
        if was is None:
            was = next((one for one in added if row in new and _said(one) == _said(row)), None)
            added = [one for one in added if one is not was]
        if was is None:
            last += 1
        row[KEY] = last if was is None else was[KEY]
        also: Row = next((one for one in my if one[KEY] == row[KEY]), {})
        _align(row, pairs.get(index, {}), also, kind)


def _pairs(rows: list[Row], before: list[Row], first: str | None) -> dict[int, Row]:
    """By index of a row the row that it was: word for word, by name, by its first field, then by order.

    Where several rows begin alike, or are left over, they are paired only where there are as many on either side.
    """
    pairs: dict[int, Row] = {}
    left = list(before)

    def pair(alike: Callable[[Row], Any], *, counted: bool) -> None:
        for index, row in enumerate(rows):
            value = alike(row)
            if index in pairs or value is None:
                continue
            there = [one for one in left if alike(one) == value]
            here = [one for at, one in enumerate(rows) if at not in pairs and alike(one) == value]
            if there and (not counted or len(there) == len(here)):
                pairs[index] = there[0]
                left[:] = [one for one in left if one is not there[0]]

    pair(_said, counted=False)
    pair(lambda row: (row["ref"], row.get(first or "")) if row.get("ref") else None, counted=False)
    if first is not None:
        pair(lambda row: row.get(first), counted=True)
    pair(lambda row: True, counted=True)
    return pairs


def _said(row: Row) -> Any:
    return {name: value for name, value in finished(row).items() if name not in _OWN}
