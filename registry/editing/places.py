"""Where things stand in a draft: rows by their keys, places by their names. Pure; changes nothing but what it is given.

A draft is a case document of any completeness in which each object in a list carries `_key`, a small number that
never changes and is never given twice in that list, and whose actions stand by position, 1 to n. A place is named by
the way to it: `case`, `procedure`, `C1.device`, `C1.a7` (the action with the key 7 of the complication with the
key 1), `antiplatelet_plan.drug2`; a field by its place and its name, `C1.a7.minutes`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from registry import case_fields as fields
from registry.canonical import Json
from registry.field_kinds import Field, List, Thing

Draft = dict[str, Any]

KEY = "_key"
_LAST = "_last"
"""In an object whose list lost a row: by list, the largest key ever given, so that none is given twice."""

CASE = "case"
_STEP = re.compile(r"([A-Za-z_]+?)([1-9][0-9]{0,5})", re.ASCII)


class Refused(Exception):
    """The operation cannot be done; the message says why, to the person who asked for it."""


class Gone(Refused):
    """A place that is not in the draft, or no longer."""


@dataclass(frozen=True, slots=True)
class Rows:
    """One kind of row: its everyday name in operations, its list, the step in a place's name, where the list stands.

    `at` is the place that holds the list where there is only one; `first` the field that an operation may fill in.
    """

    noun: str
    list: str
    step: str
    at: str | None
    first: str | None


ROWS = (
    Rows("complication", "complications", "C", CASE, None),
    Rows("lesion", "lesions", "L", CASE, None),
    Rows("injury", "injuries", "I", CASE, "kind"),
    Rows("duty", "duties", "duty", CASE, "kind"),
    Rows("follow_up", "follow_up", "follow_up", CASE, "status"),
    Rows("access", "access", "access", "procedure", "site"),
    Rows("guide", "guides", "guide", "procedure", "shape"),
    Rows("staff", "staff", "staff", "procedure", "role"),
    Rows("flow", "flow", "flow", "outcome", "segment"),
    Rows("in_hospital", "in_hospital", "in_hospital", "outcome", "event"),
    Rows("drug", "drugs", "drug", "antiplatelet_plan", "agent"),
    Rows("rung", "actions", "a", None, "technique"),
    Rows("declined", "declined", "d", None, "technique"),
    Rows("fragment", "fragments", "f", None, "part"),
    Rows("device", "devices", "device", None, "class"),
    Rows("other_device", "other_devices", "other_device", None, "class"),
    Rows("content", "contents", "content", None, "what"),
    Rows("event", "events", "event", None, "event"),
)
BY_NOUN = {rows.noun: rows for rows in ROWS}
BY_LIST = {rows.list: rows for rows in ROWS}
_BY_STEP = {rows.step: rows for rows in ROWS}


@dataclass(frozen=True, slots=True)
class Found:
    """A place of the draft: its name, what kind of object stands there, and the object, None where it is absent."""

    name: str
    kind: Thing
    thing: Draft | None


def copied(value: Json) -> Json:
    """A copy that shares no object and no list with the value."""
    if isinstance(value, Mapping):
        return {name: copied(inner) for name, inner in value.items()}
    return [copied(item) for item in value] if isinstance(value, list) else value


def begun(document: Mapping[str, Json]) -> Draft:
    """A draft of a case document of any completeness; the document is left alone, a draft's own keys are kept."""
    draft: Draft = copied(document)
    _key_rows(draft, fields.CASE)
    return draft


def _key_rows(thing: Draft, kind: Thing) -> None:
    for name, inner in kind.fields.items():
        value = thing.get(name)
        if isinstance(inner, Thing) and value is not None:
            _key_rows(value, inner)
        elif isinstance(inner, List) and isinstance(inner.item, Thing) and value is not None:
            if inner.item is fields.ACTION:
                _in_order(value)
            _give_keys(value, BY_LIST[name].step, last_key(thing, name))
            for item in value:
                _key_rows(item, inner.item)


def _in_order(actions: list[Draft]) -> None:
    found = [action.get("position") for action in actions]
    if sorted(position for position in found if isinstance(position, int)) == list(range(1, len(found) + 1)):
        actions.sort(key=lambda action: int(action["position"]))
    number_positions(actions)


def number_positions(actions: list[Draft]) -> None:
    """Give the actions the positions 1 to n, in the order in which they stand."""
    for position, action in enumerate(actions, start=1):
        action["position"] = position


def _give_keys(items: list[Draft], step: str, last: int) -> None:
    """Keys for rows without one: the number in their `ref` where it has the usual form, else the next."""
    taken = {item[KEY] for item in items if KEY in item}
    for item in items:
        named = re.fullmatch(rf"{step}([1-9][0-9]{{0,2}})", str(item.get("ref")), re.ASCII | re.IGNORECASE)
        if KEY not in item and named and (number := int(named[1])) not in taken and number > last:
            item[KEY] = number
            taken.add(number)
    following = max(taken | {last})
    for item in items:
        if KEY not in item:
            following += 1
            item[KEY] = following


def finished(draft: Mapping[str, Json]) -> Draft:
    """The case document of a draft: the same without keys; not yet checked, and not in canonical form."""
    document: Draft = _without_keys(draft)
    return document


def _without_keys(value: Json) -> Json:
    if isinstance(value, Mapping):
        return {name: _without_keys(inner) for name, inner in value.items() if not name.startswith("_")}
    return [_without_keys(item) for item in value] if isinstance(value, list) else value


def last_key(holder: Mapping[str, Json], list_name: str) -> int:
    """The largest key ever given in a list."""
    given: list[int] = [item.get(KEY, 0) for item in holder.get(list_name) or []]
    last: int = (holder.get(_LAST) or {}).get(list_name, 0)
    return max(last, *given, 0)


def added(holder: Draft, list_name: str, item: Draft) -> Draft:
    """Append a row to a list that may be absent, with a new key; the row."""
    row = {KEY: last_key(holder, list_name) + 1, **item}
    holder[list_name] = [*(holder.get(list_name) or []), row]
    return row


def replaced(holder: Draft, list_name: str, items: list[Draft]) -> None:
    """Put fewer rows in the place of a list; left empty it becomes absent, for `none` is said, never inferred."""
    holder[_LAST] = {**(holder.get(_LAST) or {}), list_name: last_key(holder, list_name)}
    if items:
        holder[list_name] = items
    else:
        holder.pop(list_name, None)


def row_of(holder: Mapping[str, Json], list_name: str, key: str | int) -> Draft:
    """The row with that key; Gone where there is none."""
    for item in holder.get(list_name) or []:
        if str(item.get(KEY)) == str(key):
            row: Draft = item
            return row
    noun = BY_LIST[list_name].noun.replace("_", " ")
    raise Gone(f"There is no {noun} {key} here, or no longer.")


def found(draft: Draft, name: str, make: bool = False) -> Found:
    """The place of that name; `make` makes absent objects on the way, never rows. Gone where there is none."""
    kind, thing = fields.CASE, draft
    at: Draft | None = thing
    for step in [] if name == CASE else name.split("."):
        inner = kind.fields.get(step)
        if isinstance(inner, Thing):
            kind, at = inner, _inside(at, step, make)
            continue
        parts = _STEP.fullmatch(step)
        rows = _BY_STEP.get(parts[1]) if parts else None
        listed = kind.fields.get(rows.list) if rows else None
        if not parts or not rows or not isinstance(listed, List) or not isinstance(listed.item, Thing):
            raise Gone(f"There is no place {name} in a case.")
        kind, at = listed.item, row_of(at or {}, rows.list, parts[2])
    return Found(name, kind, at)


def _inside(thing: Draft | None, name: str, make: bool) -> Draft | None:
    inner: Draft | None = (thing or {}).get(name)
    if inner is None and make and thing is not None:
        inner = thing[name] = {}
    return inner


def parts_of(name: str) -> tuple[str, str]:
    """The place and the field of a field's name; a name alone is a field of the case itself."""
    place, _, field = name.rpartition(".")
    return place or CASE, field


def kind_of(draft: Draft, name: str) -> Field:
    """The kind of the field of that name; Gone where there is none."""
    place, field = parts_of(name)
    inner = found(draft, place).kind.fields.get(field)
    if inner is None:
        raise Gone(f"There is no field {field} at {place}.")
    return inner


def emptied(draft: Draft, name: str) -> None:
    """Drop an object that says nothing any more from what holds it; rows of lists stay."""
    while name != CASE:
        above, step = parts_of(name)
        holder = found(draft, above)
        inner = holder.thing.get(step) if holder.thing else None
        if not isinstance(inner, dict) or any(value is not None for value in inner.values()):
            return
        assert holder.thing is not None
        del holder.thing[step]
        name = above


def stands(draft: Draft, name: str) -> bool:
    """Whether a place is in the draft."""
    try:
        found(draft, name)
    except Gone:
        return False
    return True


def inside(name: str, places: Iterable[str]) -> bool:
    """Whether a place or field is one of these places, or lies in one."""
    return any(name == place or name.startswith(f"{place}.") for place in places)


def sub_places(draft: Mapping[str, Json]) -> Iterator[Found]:
    """Every place of a draft, outer before inner: single objects though absent, and the rows that there are."""
    yield from _places(CASE, fields.CASE, dict(draft))


def _places(name: str, kind: Thing, thing: Draft | None) -> Iterator[Found]:
    yield Found(name, kind, thing)
    prefix = "" if name == CASE else f"{name}."
    for field, inner in kind.fields.items():
        value = (thing or {}).get(field)
        if isinstance(inner, Thing):
            yield from _places(f"{prefix}{field}", inner, value)
        elif isinstance(inner, List) and isinstance(inner.item, Thing):
            for item in value or []:
                yield from _places(f"{prefix}{BY_LIST[field].step}{item[KEY]}", inner.item, item)
