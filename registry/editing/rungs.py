"""Operations on the rungs of a complication: add, remove, move, place, result. Pure; change the draft given."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from registry import case_fields as fields
from registry.editing.answers import Outcome, label, said_value, the_complication
from registry.editing.places import KEY, Draft, Refused, added, replaced, row_of
from registry.editing.prefilling import aim_for, devices_for, faced, minute_after
from registry.editing.references import reorder
from registry.editing.typed import Unreadable, value_of
from registry.ladder import COUNTED_AIMS, RESULTS_OF_OTHER_ACTS, RESULTS_OF_RESCUE
from registry.terms import CLOSED, OTHER, UNKNOWN, Aim, Result
from registry.vocabulary import word_list


def chosen(kind: fields.Field, text: str) -> str:
    """A code that stands on a button; Refused where its list does not offer it."""
    try:
        value = value_of(text, kind)
    except Unreadable as error:
        raise Refused(f"{text}: {error}.") from None
    return str(value)


def add_rung(draft: Draft, place: str, technique: str | None = None) -> Outcome:
    """A rung at the end, its aim, its devices and the minute at which it began put forward."""
    complication = the_complication(draft, place)
    before = complication.get("actions") or []
    if len(before) >= fields.ACTIONS:
        raise Refused(f"A ladder has at most {fields.ACTIONS} rungs.")
    rung: Draft = {"position": len(before) + 1}
    if before and (minute := minute_after(before[-1])) is not None:
        rung["at_minute"] = minute
    if technique is not None:
        rung["technique"] = chosen(fields.ACTION.fields["technique"], technique)
        aim = aim_for(technique, faced(complication))
        rung |= {"aim": aim} if aim else {}
    row = added(complication, "actions", rung)
    _put_devices(row, devices_for(technique))
    here = f"{place}.a{row[KEY]}"
    asks = "result" if "aim" in row else "aim" if technique else "technique"
    return Outcome(draft, f"{here}.{asks}", f"{spoken(row)} added.", here)


def _put_devices(rung: Draft, classes: Iterable[str]) -> None:
    for code in classes:
        added(rung, "devices", {"class": code})


def spoken(rung: Mapping[str, Any]) -> str:
    """A rung in a few words."""
    number = f"Rung {rung['position']}"
    return f"{number}, {label('technique', rung['technique'])}," if rung.get("technique") else number


def remove_rung(draft: Draft, place: str, key: str) -> Outcome:
    """Without the rung; what stood after it stands after the one before."""
    complication = the_complication(draft, place)
    gone = row_of(complication, "actions", key)
    said = f"{spoken(gone)} removed."
    index = gone["position"] - 1
    left = [rung for rung in complication["actions"] if rung is not gone]
    reorder(draft, complication, left)
    neighbour = left[min(index, len(left) - 1)] if left else None
    focus = f"{place}.a{neighbour[KEY]}" if neighbour else f"add rung {place}"
    return Outcome(draft, focus, said, "")


def move_rung(draft: Draft, place: str, key: str, way: str) -> Outcome:
    """The rung one up or down; at the end it stays where it is."""
    if way not in ("up", "down"):
        raise Refused("A rung moves up or down.")
    here = row_of(the_complication(draft, place), "actions", key)["position"]
    return _placed(draft, place, key, here + (1 if way == "down" else -1), f"move rung {place} {key} {way}")


def place_rung(draft: Draft, place: str, key: str, to: str) -> Outcome:
    """The rung at another position."""
    if not (to.isascii() and to.isdecimal() and len(to) <= 4):
        raise Refused(f"{to} is no position.")
    return _placed(draft, place, key, int(to), f"{place}.a{key}")


def _placed(draft: Draft, place: str, key: str, to: int, focus: str) -> Outcome:
    complication = the_complication(draft, place)
    rung = row_of(complication, "actions", key)
    others = [other for other in complication["actions"] if other is not rung]
    there = min(max(to, 1), len(others) + 1)
    if there == rung["position"]:
        end = "first" if there == 1 else "last" if there == len(others) + 1 else f"number {there}"
        return Outcome(draft, focus, f"{spoken(rung)} is the {end} already.")
    was = spoken(rung)
    others.insert(there - 1, rung)
    reorder(draft, complication, others)
    return Outcome(draft, focus, f"{was} is now {there} of {len(others)}.")


def result(draft: Draft, place: str, key: str, code: str) -> Outcome:
    """What came of a rung; resolved closes the complication, partly and worse ask for the new situation."""
    rung = row_of(the_complication(draft, place), "actions", key)
    here = f"{place}.a{rung[KEY]}"
    value = chosen(fields.ACTION.fields["result"], code)
    if not may_end(rung.get("aim"), value):
        aim = label("aim", rung["aim"]).lower()
        raise Refused(f"{label('result', value)} is no result of a rung with the aim {aim}.")
    rung["result"] = value
    settle(rung)
    said = f"{spoken(rung)} {label('result', value).lower()}."
    if value in (Result.PARTLY, Result.WORSE):
        return Outcome(draft, f"{here}.situation_after", f"{said} What is the situation now?", here)
    closes = rung.get("situation_after") == CLOSED
    return Outcome(draft, f"{place}.ending" if closes else f"add rung {place}", said, "")


def may_end(aim: str | None, value: str) -> bool:
    """Whether an act of that aim can have that result."""
    if aim in (None, UNKNOWN, OTHER):
        return True
    rescue = aim in COUNTED_AIMS or aim == Aim.TREAT_INJURY
    return value in (RESULTS_OF_RESCUE if rescue else RESULTS_OF_OTHER_ACTS)


def settle(rung: Draft) -> None:
    """Aim, result and closing of one rung brought to agree (R3, R8): a result that its aim cannot have is dropped."""
    aim, value = rung.get("aim"), rung.get("result")
    if value is not None and not may_end(aim, value):
        del rung["result"]
    if _resolves(rung):
        rung["situation_after"] = CLOSED
    elif rung.get("situation_after") == CLOSED and aim != Aim.LOOK:
        del rung["situation_after"]


def set_in_rung(draft: Draft, place: str, rung: Draft, field: str, text: str) -> Outcome:
    """Technique, aim or the situation after a rung, with what follows from it."""
    above, _, here = place.rpartition(".")
    kind = fields.ACTION.fields[field]
    value = chosen(kind, text)
    if field == "situation_after" and value == CLOSED and not _may_close(rung):
        raise Refused("Only an act that is resolved, or a look that finds it over, closes the complication.")
    if field == "situation_after" and value != CLOSED and _resolves(rung):
        raise Refused(
            "A resolved rung closes the complication; where something remained to be done it is partly."
        )
    if field == "technique":
        _put_devices_right(rung, rung.get("technique"), value)
    rung[field] = value
    if field == "technique":
        _put_aim_right(the_complication(draft, above), rung)
    settle(rung)
    said = f"Rung {rung['position']}: {said_value(kind, value)}."
    if field == "situation_after":
        return Outcome(draft, f"{above}.ending" if value == CLOSED else f"add rung {above}", said, "")
    return Outcome(draft, f"{above}.{here}.result", said, place)


def _may_close(rung: Draft) -> bool:
    return rung.get("aim") == Aim.LOOK or _resolves(rung)


def _resolves(rung: Draft) -> bool:
    return rung.get("aim") in COUNTED_AIMS and rung.get("result") == Result.RESOLVED


def _put_aim_right(complication: Draft, rung: Draft) -> None:
    """The aim put forward for another technique, unless the aim recorded is one that it may serve."""
    aims = word_list("technique")[rung["technique"]].properties.get("aims", ())
    if rung.get("aim") in aims or not aims:
        return
    aim = aim_for(rung["technique"], faced(complication, rung[KEY]))
    if aim:
        rung["aim"] = aim


def _put_devices_right(rung: Draft, before: str | None, technique: str) -> None:
    """The devices put forward for another technique, unless somebody said more of those that are there."""
    there = rung.get("devices")
    untouched = [{"class": code} for code in devices_for(before)]
    said = [{name: value for name, value in device.items() if name[0] != "_"} for device in there or []]
    if there == [] or said != untouched:
        return
    if there:
        replaced(rung, "devices", [])
    _put_devices(rung, devices_for(technique))
