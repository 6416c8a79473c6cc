"""Operations on single fields: set, unset, toggle, none, references. Pure; change the draft that they are given."""

from __future__ import annotations

from registry.canonical import Json
from registry.editing.answers import Outcome, label, said_value, the_complication
from registry.editing.places import (
    KEY,
    Draft,
    Gone,
    Refused,
    emptied,
    found,
    kind_of,
    parts_of,
    row_of,
)
from registry.editing.references import name_of, named, pointed_at, refuse_a_circle
from registry.editing.rungs import result, set_in_rung, settle
from registry.editing.typed import Unreadable, fits_scale, value_of
from registry.field_kinds import (
    Code,
    Field,
    Grade,
    Identifier,
    Label,
    List,
    Position,
    Reference,
    Text,
    Thing,
)

NOBODY = "none"
_ASKED_NEXT = {"device.class": "situation", "situation": "segments", "ending": "actions_known"}
"""Of a complication's fields that are chosen by one touch, the field that is asked for after each."""


def set_value(draft: Draft, name: str, *words: str) -> Outcome:
    """`set FIELD VALUE`: a coded field, number, day or short name as given; what depends on it follows."""
    place, field = parts_of(name)
    kind = kind_of(draft, name)
    text = " ".join(words)
    if isinstance(kind, Reference):
        return _refer(draft, place, field, kind, text)
    if isinstance(kind, Thing | List | Text | Identifier | Label | Position):
        raise Refused(f"{field} is not set by a button.")
    there = found(draft, place, make=True)
    assert there.thing is not None
    if there.kind.name == "action" and field == "result":
        above, _, step = place.rpartition(".")
        return result(draft, above, step.removeprefix("a"), text)
    if there.kind.name == "action" and field in ("technique", "aim", "situation_after"):
        return set_in_rung(draft, place, there.thing, field, text)
    there.thing[field] = _value(kind, field, text)
    if field == "scale" and not fits_scale(there.thing.get("grade"), there.thing["scale"]):
        del there.thing["grade"]
    return Outcome(draft, _next(name), f"{_spoken(field)}: {said_value(kind, there.thing[field])}.")


def _value(kind: Field, field: str, text: str) -> object:
    try:
        value = value_of(text, kind)
    except Unreadable as error:
        raise Refused(f"{_spoken(field)}, {text}: {error}.") from None
    if value is None:
        raise Refused(f"{_spoken(field)} needs a value.")
    return value


def _spoken(field: str) -> str:
    return field.replace("_", " ").capitalize()


def _next(name: str) -> str:
    first, _, rest = name.partition(".")
    if first.startswith("C") and rest in _ASKED_NEXT:
        return f"{first}.{_ASKED_NEXT[rest]}"
    return name


def unset(draft: Draft, name: str) -> Outcome:
    """`unset FIELD`, or the name of a single object: not recorded any more."""
    place, field = parts_of(name)
    kind = kind_of(draft, name)
    there = found(draft, place)
    value = (there.thing or {}).get(field)
    if isinstance(kind, Label | Position) and field != "after_position":
        raise Refused(f"{field} stays as it is.")
    if _holds_rows(kind, value):
        raise Refused("Its rows are removed one by one.")
    if there.thing is not None:
        there.thing.pop(field, None)
        if field == "caused_by":
            there.thing.pop("after_position", None)
        if there.kind.name == "action":
            settle(there.thing)
        emptied(draft, place)
    return Outcome(draft, name, f"{_spoken(field)}: not recorded.")


def _holds_rows(kind: Field, value: Json) -> bool:
    if isinstance(kind, Thing):
        return any(
            _holds_rows(kind.fields[name], inner) for name, inner in (value or {}).items() if name[0] != "_"
        )
    return isinstance(kind, List) and isinstance(kind.item, Thing) and bool(value)


def toggle(draft: Draft, name: str, code: str) -> Outcome:
    """`toggle FIELD CODE`: a word into a list of words, or out of it; a list left empty becomes absent."""
    place, field = parts_of(name)
    kind = kind_of(draft, name)
    if not isinstance(kind, List) or not isinstance(kind.item, Code | Grade):
        raise Refused(f"{field} is no list of words.")
    there = found(draft, place, make=True).thing
    assert there is not None
    listed = there.get(field) or []
    if code in listed:
        there[field] = [other for other in listed if other != code]
        said = "no longer chosen"
    else:
        there[field] = [*listed, _value(kind.item, field, code)]
        said = "chosen"
    if not there[field]:
        del there[field]
        emptied(draft, place)
    return Outcome(draft, name, f"{said_value(kind.item, code)}: {said}.")


def segment(draft: Draft, place: str, code: str) -> Outcome:
    """`segment PLACE CODE`: a coronary segment of a place, chosen or no longer."""
    outcome = toggle(draft, f"{place}.segments", code)
    return Outcome(draft, outcome.focus, f"Segment {outcome.said}")


def none(draft: Draft, name: str) -> Outcome:
    """`none LIST`: recorded as empty, which is more than not recorded."""
    place, field = parts_of(name)
    kind = kind_of(draft, name)
    if not isinstance(kind, List) or kind.required:
        raise Refused(f"{field} is no list that may be empty.")
    there = found(draft, place, make=True).thing
    assert there is not None
    if there.get(field):
        raise Refused(f"{_spoken(field)} holds something; it is removed first.")
    there[field] = []
    return Outcome(draft, name, f"{_spoken(field)}: none.")


def treats(draft: Draft, place: str, which: str) -> Outcome:
    """`treats C1.a7 I2`, or `none`: the injury that a rung or a declined option answers."""
    return set_value(draft, f"{place}.treats", which)


def caused(draft: Draft, place: str, by: str, key: str | None = None) -> Outcome:
    """`caused I1 C1 7`: what caused an injury or complication, and the rung after which it was seen (0: before)."""
    outcome = set_value(draft, f"{place}.caused_by", by)
    return after(draft, place, key) if key is not None and by != NOBODY else outcome


def _refer(draft: Draft, place: str, field: str, kind: Reference, which: str) -> Outcome:
    thing = found(draft, place).thing
    if thing is None:
        raise Gone(f"There is no {place} here, or no longer.")
    name = f"{place}.{field}"
    if which == NOBODY:
        return unset(draft, name)
    row = pointed_at(draft, kind.to, which)
    if field == "caused_by" and (thing.get(field) is None or row.get("ref") != thing[field]):
        refuse_a_circle(draft, thing, row)
        thing.pop("after_position", None)
    thing[field] = name_of(draft, kind.to, row)
    return Outcome(draft, name, f"{_spoken(field)}: {_described(kind.to, row)}.")


def _described(noun: str, row: Draft) -> str:
    list_name, field = {"injury": ("injury_kind", "kind"), "complication": ("situation", "situation")}.get(
        noun, ("segment", "")
    )
    word = label(list_name, row[field]).lower() if row.get(field) else ""
    return f"{noun} {row[KEY]}{', ' if word else ''}{word}"


def after(draft: Draft, place: str, key: str) -> Outcome:
    """`after C1.d2 7`: the rung after which an option was declined or harm was seen; 0 before the first, or `none`."""
    there = found(draft, place)
    if there.thing is None or "after_position" not in there.kind.fields:
        raise Refused(f"{place} stands after no rung.")
    name = f"{place}.after_position"
    if key == NOBODY:
        return unset(draft, name)
    position = 0
    if key != "0":
        position = row_of(_climbed(draft, place, there.thing), "actions", key)["position"]
    there.thing["after_position"] = position
    return Outcome(draft, name, f"After rung {position}." if position else "Before the first rung.")


def _climbed(draft: Draft, place: str, thing: Draft) -> Draft:
    """The complication whose rungs are meant: the one that holds a declined option, else the cause."""
    above, _, step = place.rpartition(".")
    if step.startswith("d"):
        return the_complication(draft, above)
    cause = named(draft, "complication", thing.get("caused_by"))
    if cause is None:
        raise Refused("After which rung can be said once it is said which complication caused it.")
    return cause
