"""Operations that add and remove rows other than rungs. Pure; change the draft that they are given."""

from __future__ import annotations

from typing import Any

from registry import case_fields as fields
from registry.editing.answers import Outcome, label, said_value, the_complication
from registry.editing.places import BY_NOUN, CASE, KEY, Draft, Refused, Rows, added, found, replaced, row_of
from registry.editing.references import REFERRED, forget, free_name, name_of
from registry.editing.rungs import add_rung, chosen, remove_rung
from registry.field_kinds import List, Thing


def _rows(noun: str) -> Rows:
    if noun not in BY_NOUN:
        raise Refused(f"{noun} is nothing that can be added or removed; {', '.join(BY_NOUN)} are.")
    return BY_NOUN[noun]


def _split(rows: Rows, words: list[str]) -> tuple[str, list[str]]:
    """The place that holds the list, and the words after it; a list that stands once needs no place."""
    if rows.at is not None:
        return rows.at, words[1:] if words[:1] == [rows.at] else words
    if not words:
        raise Refused(f"The operation has to say where the {_spoken(rows)} is, such as C1.")
    return words[0], words[1:]


def _spoken(rows: Rows) -> str:
    return rows.noun.replace("_", " ")


def add(draft: Draft, noun: str, *words: str) -> Outcome:
    """`add NOUN [PLACE] [CODE]`: a row at the end of its list, its first field filled in where a code is given."""
    rows = _rows(noun)
    place, rest = _split(rows, list(words))
    if len(rest) > 1:
        raise Refused(f"The operation says too much: {' '.join(rest)}.")
    if noun == "rung":
        return add_rung(draft, place, *rest)
    if noun == "injury" and rest:
        raise Refused(
            "An injury is added with the complication that it followed, such as: injury C1 dissection."
        )
    holder, item = _list_of(draft, rows, place)
    row: Draft = {}
    if rest:
        if rows.first is None:
            raise Refused(f"A {_spoken(rows)} is added without more words.")
        row[rows.first] = chosen(item.fields[rows.first], rest[0])
    row = added(holder, rows.list, row)
    _give_name(draft, holder, rows, row)
    here = f"{'' if place == CASE else place + '.'}{rows.step}{row[KEY]}"
    return Outcome(draft, f"{here}.{_asked_first(rows, item, row)}", _said(rows, item, row), here)


def _list_of(draft: Draft, rows: Rows, place: str) -> tuple[Draft, Thing]:
    holder = found(draft, place, make=True)
    kind = holder.kind.fields.get(rows.list)
    if holder.thing is None or not isinstance(kind, List) or not isinstance(kind.item, Thing):
        raise Refused(f"{place} has no list of that kind ({_spoken(rows)}).")
    if kind.limit is not None and len(holder.thing.get(rows.list) or []) >= kind.limit:
        raise Refused(f"There are {kind.limit} already, and no more may stand in a case ({_spoken(rows)}).")
    return holder.thing, kind.item


def _give_name(draft: Draft, holder: Draft, rows: Rows, row: Draft) -> None:
    if rows.noun in REFERRED:
        name_of(draft, rows.noun, row)
    elif rows.noun == "fragment":
        taken = {piece.get("ref") for piece in holder["fragments"]}
        row["ref"] = free_name(rows.step.upper(), row[KEY], taken)


def _asked_first(rows: Rows, item: Thing, row: Draft) -> str:
    if rows.noun == "complication":
        return "device.class"
    return next(name for name in item.fields if name not in row)


def _said(rows: Rows, item: Thing, row: Draft) -> str:
    name = _spoken(rows).capitalize()
    if rows.first in row:
        assert rows.first is not None
        return f"{name} added: {said_value(item.fields[rows.first], row[rows.first])}."
    return f"{name} added."


def remove(draft: Draft, noun: str, *words: str) -> Outcome:
    """`remove NOUN [PLACE] KEY`: without the row; what referred to it refers to nothing."""
    rows = _rows(noun)
    place, rest = _split(rows, list(words))
    if len(rest) != 1:
        raise Refused(f"The operation has to name one {_spoken(rows)} by its key.")
    if noun == "rung":
        return remove_rung(draft, place, rest[0])
    holder = found(draft, place).thing or {}
    row = row_of(holder, rows.list, rest[0])
    items = holder[rows.list]
    index = next(number for number, item in enumerate(items) if item is row)
    left = [item for item in items if item is not row]
    if noun == "complication" and not left:
        raise Refused("A case has at least one complication.")
    replaced(holder, rows.list, left)
    if noun in REFERRED:
        forget(draft, noun, row.get("ref"))
    prefix = f"{'' if place == CASE else place + '.'}{rows.step}"
    focus = f"{prefix}{left[min(index, len(left) - 1)][KEY]}" if left else f"add {noun}"
    if not left and rows.at is None:
        focus += f" {place}"
    return Outcome(draft, focus, f"{_spoken(rows).capitalize()} removed.", "")


def decline(draft: Draft, place: str, technique: str, reason: str | None = None) -> Outcome:
    """An option weighed and not tried, after the last rung so far."""
    complication = the_complication(draft, place)
    option: dict[str, Any] = {
        "technique": chosen(fields.DECLINED.fields["technique"], technique),
        "after_position": len(complication.get("actions") or []),
    }
    if reason is not None:
        option["reason"] = chosen(fields.DECLINED.fields["reason"], reason)
    row = added(complication, "declined", option)
    here = f"{place}.d{row[KEY]}"
    said = f"Not tried: {label('technique', technique).lower()}."
    focus = f"{here}.reason" if reason is None else f"add rung {place}"
    return Outcome(draft, focus, said, here if reason is None else "")


def injury(draft: Draft, place: str, kind: str, key: str | None = None) -> Outcome:
    """An injury seen after the rung with that key (0: before the first), or after the last so far."""
    complication = the_complication(draft, place)
    after = len(complication.get("actions") or [])
    if key is not None:
        after = 0 if key == "0" else row_of(complication, "actions", key)["position"]
    row = added(draft, "injuries", {"kind": chosen(fields.INJURY.fields["kind"], kind)})
    row |= {"caused_by": name_of(draft, "complication", complication), "after_position": after}
    name_of(draft, "injury", row)
    here = f"I{row[KEY]}"
    seen = f"after rung {after}" if after else "before the first rung"
    return Outcome(draft, f"{here}.scale", f"Injury {seen}: {label('injury_kind', kind).lower()}.", here)
