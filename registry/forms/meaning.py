"""What a field of a draft holds, in terms that stay true when rows move: rows by place, never by position or `ref`.

Pure. A reference means the place of its row (`I2`); a position means the place of a rung (`C1.a7`), or `0` before the
first. What refers to nothing that stands in the draft means itself.
"""

from __future__ import annotations

from collections.abc import Iterator

from registry import case_fields as fields
from registry.canonical import Json
from registry.editing.places import BY_LIST, KEY, Draft, Found, Gone, emptied, found, parts_of
from registry.editing.references import REFERRED, name_of, named, pointed_at, refuse_a_circle
from registry.editing.typed import fits_scale
from registry.field_kinds import Field, Label, List, Position, Reference, Thing

BEFORE_THE_FIRST = "0"


def typed_fields(kind: Thing) -> Iterator[tuple[str, Field]]:
    """The fields of an object that a form shows; names of rows and positions of rungs belong to operations."""
    for name, inner in kind.fields.items():
        listed = isinstance(inner, List) and isinstance(inner.item, Thing)
        own = isinstance(inner, Label) or (kind is fields.ACTION and name == "position")
        if not (
            listed
            or own
            or isinstance(inner, Thing)
            or (kind is fields.CASE and name in fields.VERSION_FIELDS)
        ):
            yield name, inner


def meaning(draft: Draft, place: Found, name: str, kind: Field) -> Json:
    """What the field of a place means; None where it is not recorded."""
    value = (place.thing or {}).get(name)
    if value is None:
        return None
    if isinstance(kind, Reference):
        row = named(draft, kind.to, value)
        return value if row is None else place_of(kind.to, row)
    if isinstance(kind, Position):
        return _rung_after(draft, place, int(value))
    return value


def place_of(noun: str, row: Draft) -> str:
    """The place of a lesion, complication or injury."""
    return f"{BY_LIST[REFERRED[noun]].step}{row[KEY]}"


def climbed(draft: Draft, place: Found) -> tuple[str, Draft] | None:
    """The complication after whose rungs the object of a place may stand, with its place; None where there is none."""
    if place.kind is fields.DECLINED:
        above, _ = parts_of(place.name)
        thing = found(draft, above).thing
        return (above, thing) if thing is not None else None
    cause = named(draft, "complication", (place.thing or {}).get("caused_by"))
    return (place_of("complication", cause), cause) if cause is not None else None


def _rung_after(draft: Draft, place: Found, position: int) -> Json:
    there = climbed(draft, place)
    if there is None:
        return position
    if position == 0:
        return BEFORE_THE_FIRST
    actions = there[1].get("actions") or []
    return f"{there[0]}.a{actions[position - 1][KEY]}" if position <= len(actions) else position


def put(draft: Draft, name: str, value: Json) -> None:
    """Give a field this meaning, None for not recorded, and drop beside it what then says nothing any more.

    That is a grade of another scale, and a rung of another complication. Gone where the field, or the row that is
    meant, does not stand; Refused where a complication would have caused itself.
    """
    place_name, field = parts_of(name)
    place = found(draft, place_name, make=True)
    thing = place.thing
    assert thing is not None
    if value is None:
        thing.pop(field, None)
    else:
        thing[field] = _stored(draft, place, place.kind.fields[field], value)
    if field == "scale" and not fits_scale(thing.get("grade"), value):
        thing.pop("grade", None)
    if field == "caused_by":
        thing.pop("after_position", None)
    emptied(draft, place_name)


def _stored(draft: Draft, place: Found, kind: Field, value: Json) -> Json:
    if isinstance(kind, Reference):
        row = pointed_at(draft, kind.to, value)
        if place.kind is fields.COMPLICATION and kind.to == "complication" and place.thing is not None:
            refuse_a_circle(draft, place.thing, row)
        return name_of(draft, kind.to, row)
    if isinstance(kind, Position) and isinstance(value, str):
        return _position(draft, place, value)
    return value


def _position(draft: Draft, place: Found, value: str) -> int:
    there = climbed(draft, place)
    if there is None or (value != BEFORE_THE_FIRST and not value.startswith(f"{there[0]}.a")):
        raise Gone("It does not stand after a rung of that complication.")
    if value == BEFORE_THE_FIRST:
        return 0
    rung = found(draft, value).thing
    assert rung is not None
    return int(rung["position"])
