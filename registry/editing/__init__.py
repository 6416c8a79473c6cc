"""Editing a case: operations on a draft document, named by the words that stand on the form's buttons. No Django.

    keep                                     add rung C1 steady_traction        decline C1 TECHNIQUE [REASON]
    set C1.situation wire_stuck              remove rung C1 7                   injury C1 KIND [RUNG]
    unset C1.phase                           move rung C1 7 up                  fragment C1
    toggle C1.mechanisms calcium             place rung C1 7 2                  add duty tell_patient
    segment C1 9                             result C1 7 unchanged              remove duty 2
    none C1.fragments                        treats C1.a7 I1                    add device C1.a7 CLASS
    after C1.d2 7                            caused C2 C1 7                     remove device C1.a7 1

Rows go by keys that never change, never by position. The draft given is left alone; who may edit, what was sent twice
and what clashes is the business of the page. Imports run one way: places < typed, references, prefilling, answers <
rungs < rows, values.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from registry.canonical import Json
from registry.editing import rows, rungs, values
from registry.editing.answers import Outcome
from registry.editing.places import Draft, Gone, Refused, begun, copied, finished
from registry.editing.prefilling import aim_for, faced, suggested

__all__ = ["Gone", "Outcome", "Refused", "aim_for", "apply", "begun", "faced", "finished", "suggested"]


@dataclass(frozen=True, slots=True)
class _Operation:
    """What is done, and with which words: in brackets those that may be left out, `…` any number of them."""

    run: Callable[..., Outcome]
    usage: str

    def fits(self, words: list[str]) -> bool:
        wanted = self.usage.split()
        needed = [word for word in wanted if word[0] not in "[…"]
        return len(needed) <= len(words) and ("…" in wanted or len(words) <= len(wanted))


def _keep(draft: Draft) -> Outcome:
    return Outcome(draft)


def _fragment(draft: Draft, place: str) -> Outcome:
    return rows.add(draft, "fragment", place)


_OF_RUNGS = {
    "move": _Operation(rungs.move_rung, "PLACE KEY up|down"),
    "place": _Operation(rungs.place_rung, "PLACE KEY POSITION"),
}
_OPERATIONS = {
    "keep": _Operation(_keep, ""),
    "set": _Operation(values.set_value, "FIELD VALUE …"),
    "unset": _Operation(values.unset, "FIELD"),
    "toggle": _Operation(values.toggle, "FIELD CODE"),
    "segment": _Operation(values.segment, "PLACE CODE"),
    "none": _Operation(values.none, "LIST"),
    "treats": _Operation(values.treats, "PLACE INJURY"),
    "caused": _Operation(values.caused, "PLACE COMPLICATION [RUNG]"),
    "after": _Operation(values.after, "PLACE RUNG"),
    "add": _Operation(rows.add, "NOUN …"),
    "remove": _Operation(rows.remove, "NOUN …"),
    "result": _Operation(rungs.result, "PLACE KEY RESULT"),
    "decline": _Operation(rows.decline, "PLACE TECHNIQUE [REASON]"),
    "injury": _Operation(rows.injury, "PLACE KIND [RUNG]"),
    "fragment": _Operation(_fragment, "PLACE"),
}


def apply(draft: Mapping[str, Json], words: str) -> Outcome:
    """What comes of one operation; no words are `keep`. Refused where it cannot be done, Gone where its row is gone."""
    name, *rest = words.split() or ["keep"]
    operation = _OPERATIONS.get(name)
    if name in _OF_RUNGS and rest[:1] == ["rung"]:
        operation, name, rest = _OF_RUNGS[name], f"{name} rung", rest[1:]
    if operation is None:
        raise Refused(f"There is no operation {name}.")
    if not operation.fits(rest):
        raise Refused(f"The operation is: {name} {operation.usage}.".replace(" .", "."))
    return operation.run(copied(draft), *rest)
