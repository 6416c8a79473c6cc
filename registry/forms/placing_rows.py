"""Rows of a merged case put in their places: which stand, in which order, with what follows them. Pure.

Changes the draft that it is given; decides nothing of fields.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from registry import case_fields as fields
from registry.editing.places import KEY, Draft, Gone, Rows, found, replaced
from registry.editing.references import REFERRED, forget, free_name, reorder
from registry.field_kinds import Label, List, Thing

Row = dict[str, Any]
Keyed = dict[int, Row]
"""Rows by their keys, in their order."""


def list_at(draft: Draft, place: str, name: str) -> list[Row] | None:
    """The rows of a list; empty where none is said, None where nothing is said or the place does not stand."""
    try:
        rows: list[Row] | None = (found(draft, place).thing or {}).get(name)
    except Gone:
        return None
    return rows


def keyed(draft: Draft, place: str, name: str) -> Keyed:
    """The same by their keys."""
    return {row[KEY]: row for row in list_at(draft, place, name) or []}


def moved(before: Collection[int], after: Collection[int], others: Collection[int]) -> bool:
    """Whether an order is another, or has rows of its own that neither `before` nor the `others` have."""
    kept = [key for key in after if key in before]
    return kept != [key for key in before if key in after] or not set(after) <= {*before, *others}


def woven(
    before: Collection[int], my: Collection[int], their: Collection[int], prefer_mine: bool
) -> list[int]:
    """One order of all rows: of the side that moved some, the rest after the row that they stood after."""
    mine_leads = moved(before, my, their) and (prefer_mine or not moved(before, their, my))
    leading, following = (my, their) if mine_leads else (their, my)
    order = list(leading)
    at = 0
    for key in following:
        if key not in order:
            order.insert(at, key)
        at = order.index(key) + 1
    return order


def bare(row: Row, kind: Thing, beside: Iterable[Row] = (), step: str = "") -> Row:
    """A row with its keys and names and the rows in it, without its fields; named anew where another is named so."""
    copy = {name: row[name] for name in (KEY, "_last") if name in row}
    for name, inner in kind.fields.items():
        value = row.get(name)
        if value is None:
            continue
        if isinstance(inner, Thing):
            copy |= {name: inside} if (inside := bare(value, inner)) else {}
        elif isinstance(inner, List) and isinstance(inner.item, Thing):
            copy[name] = [bare(one, inner.item) for one in value]
        elif isinstance(inner, Label) or (kind is fields.ACTION and name == "position"):
            copy[name] = value
    taken = {one.get("ref") for one in beside}
    if copy.get("ref") in taken - {None}:
        copy["ref"] = free_name(step.upper(), row[KEY], taken)
    return copy


def place_rows(draft: Draft, place: str, rows: Rows, kept: list[Row]) -> None:
    """Let these rows stand in a list, and no others; rungs take their positions, and what followed one follows it."""
    holder = found(draft, place, make=True).thing
    assert holder is not None
    gone = [row for row in holder.get(rows.list) or [] if not any(row is one for one in kept)]
    if rows.noun == "rung":
        reorder(draft, holder, kept)
        if not kept:
            holder.pop(rows.list, None)
        return
    replaced(holder, rows.list, kept)
    if rows.noun in REFERRED:
        for row in gone:
            forget(draft, rows.noun, row.get("ref"))


def say_none(draft: Draft, place: str, rows: Rows, none: bool) -> None:
    """Say that a list has no rows, or leave it unsaid."""
    holder = found(draft, place, make=none).thing
    if holder is not None and none:
        holder[rows.list] = []
    elif holder is not None:
        holder.pop(rows.list, None)


def keep_last_keys(holder: Row, other: Mapping[str, Any]) -> None:
    """Remember the largest key that either draft ever gave in each list, so that none is given twice."""
    if last := other.get("_last"):
        mine = holder.get("_last") or {}
        holder["_last"] = {name: max(mine.get(name, 0), last.get(name, 0)) for name in {**mine, **last}}
