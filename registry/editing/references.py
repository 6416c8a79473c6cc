"""References and positions in a draft that follow when rows move or go. Pure; changes the draft that it is given."""

from __future__ import annotations

from collections.abc import Iterator

from registry.editing.places import (
    BY_NOUN,
    CASE,
    KEY,
    Draft,
    Refused,
    found,
    number_positions,
    replaced,
    sub_places,
)
from registry.field_kinds import Reference

REFERRED = {"lesion": "lesions", "complication": "complications", "injury": "injuries"}


def name_of(draft: Draft, noun: str, row: Draft) -> str:
    """The `ref` by which others name the row; it is given one where it has none."""
    if not row.get("ref"):
        taken = {item.get("ref") for item in draft.get(REFERRED[noun]) or []}
        row["ref"] = free_name(BY_NOUN[noun].step, row[KEY], taken)
    ref: str = row["ref"]
    return ref


def free_name(letter: str, number: int, taken: set[str | None]) -> str:
    """The first name of the usual form, from that number on, that nobody has."""
    while f"{letter}{number}" in taken:
        number += 1
    return f"{letter}{number}"


def named(draft: Draft, noun: str, ref: str | None) -> Draft | None:
    """The row of that name, None where there is none."""
    rows = draft.get(REFERRED[noun]) or []
    return next((row for row in rows if ref is not None and row.get("ref") == ref), None)


def pointed_at(draft: Draft, noun: str, place: str) -> Draft:
    """The lesion, complication or injury at a place such as `L1`; Refused for another kind of place."""
    row = found(draft, place)
    if row.thing is None or place == CASE or row.kind.name != noun:
        raise Refused(f"{place} is no {noun}.")
    return row.thing


def forget(draft: Draft, noun: str, ref: str | None) -> None:
    """Drop every reference to a row that goes, and the position in it."""
    if ref is None or named(draft, noun, ref) is not None:
        return
    for place in sub_places(draft):
        thing = place.thing or {}
        for name, inner in place.kind.fields.items():
            if isinstance(inner, Reference) and inner.to == noun and thing.get(name) == ref:
                del thing[name]
                if name == "caused_by":
                    thing.pop("after_position", None)


def followers(draft: Draft, complication: Draft) -> Iterator[Draft]:
    """What may stand after a rung of the complication: its declined options, and the harm caused by it."""
    yield from complication.get("declined") or []
    if complication.get("ref") is not None:
        for harm in [*(draft.get("injuries") or []), *draft.get("complications", [])]:
            if harm.get("caused_by") == complication["ref"]:
                yield harm


def reorder(draft: Draft, complication: Draft, actions: list[Draft]) -> None:
    """Put the same rungs, or fewer, in another order; what stood after one stays after it, or after the one before."""
    before = [action[KEY] for action in complication.get("actions") or []]
    places = {action[KEY]: place for place, action in enumerate(actions, start=1)}
    moved = {0: 0}
    for position, key in enumerate(before, start=1):
        moved[position] = places.get(key, moved[position - 1])
    for follower in followers(draft, complication):
        after = follower.get("after_position")
        if after is not None:
            follower["after_position"] = moved.get(int(after), len(actions))
    number_positions(actions)
    if len(actions) < len(before):
        replaced(complication, "actions", actions)
    else:
        complication["actions"] = actions


def refuse_a_circle(draft: Draft, thing: Draft, cause: Draft | None) -> None:
    """What a complication caused cannot have caused it; a circle that stands already is passed round once."""
    seen: list[Draft] = []
    while cause is not None and not any(cause is one for one in seen):
        if cause is thing:
            raise Refused("A complication cannot be caused by what it caused itself.")
        seen.append(cause)
        cause = named(draft, "complication", cause.get("caused_by"))
