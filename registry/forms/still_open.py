"""What is still open in a draft, as places to go to: what the checks say, and what is not recorded yet. Pure.

It never blocks: only what the checks refuse keeps a case from being saved, and each remark says where it arises.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from registry.documents import findings
from registry.drawings.phrases import lowered, raised
from registry.editing import finished
from registry.editing.places import BY_LIST, CASE, KEY, Gone, found, parts_of
from registry.findings import Finding
from registry.forms.labels import words_of

_STEPS = re.compile(r"([A-Za-z_0-9]+)|\[(\d+)\]")


@dataclass(frozen=True, slots=True)
class Open:
    """One thing that is open: in words, the operation that leads there, whether it must be there before saving."""

    says: str
    do: str
    needed: bool = False


def field_at(draft: Mapping[str, Any], path: str) -> str:
    """The name in the draft of what a finding's path points at, such as `C1.a7.minutes`; `case` for the whole."""
    thing: Any = draft
    name, listed = "", ""
    for word, number in _STEPS.findall(path):
        if word:
            name = _joined(name, listed)
            listed, thing = word, thing.get(word) if isinstance(thing, dict) else None
            continue
        items = thing if isinstance(thing, list) else []
        thing = items[int(number)] if int(number) < len(items) else None
        row = isinstance(thing, dict) and listed in BY_LIST and KEY in thing
        name = _joined(name, f"{BY_LIST[listed].step}{thing[KEY]}" if row else listed)
        listed = ""
    return _joined(name, listed) or CASE


def _joined(name: str, step: str) -> str:
    return f"{name}.{step}" if name and step else name or step


def remarks(draft: Mapping[str, Any], today: datetime.date) -> list[tuple[str, Finding]]:
    """What the checks say of a draft as it stands, with the names of the fields that they speak of."""
    return [(field_at(draft, finding.path), finding) for finding in findings(finished(draft), today)]


def messages(found: list[tuple[str, Finding]]) -> dict[str, str]:
    """What is said beside each field that holds something."""
    said: dict[str, str] = {}
    for name, finding in found:
        if finding.value is not None:
            said.setdefault(name, sentence(finding))
    return said


def sentence(finding: Finding) -> str:
    """A finding as it is told to the person who typed it."""
    says = raised(finding.says)
    return f"{says}. Allowed: {finding.allowed}." if finding.allowed else f"{says}."


def still_open(draft: Mapping[str, Any], found: list[tuple[str, Finding]]) -> list[Open]:
    """Everything open, what is needed first."""
    of_checks = [Open(_where_and_what(draft, name, one), f"open {name}", one.refused) for name, one in found]
    return sorted(of_checks, key=lambda one: not one.needed) + list(_missing(draft))


def _where_and_what(draft: Mapping[str, Any], name: str, finding: Finding) -> str:
    label = label_of_field(draft, name)
    if finding.value is None:
        return label if finding.refused else f"{label}: {finding.says}"
    return f"{label}: {sentence(finding)}"


def label_of_field(draft: Mapping[str, Any], name: str) -> str:
    """What a field is called, with the rung that it belongs to."""
    place, field = parts_of(name)
    try:
        there = found(dict(draft), place)
        label = words_of(there.kind.name, field).label
    except (Gone, KeyError):
        return "The case" if name == CASE else name
    position = (there.thing or {}).get("position")
    said = f"Rung {position}, {lowered(label)}" if position else label
    return _of_which(draft, place, said)


def _of_which(draft: Mapping[str, Any], place: str, says: str) -> str:
    """The words, with the complication that they speak of where there is more than one; `place` lies in it."""
    complications = draft.get("complications") or []
    keys = [f"C{one[KEY]}" for one in complications]
    first = place.partition(".")[0]
    if len(keys) < 2 or first not in keys:
        return says
    return f"Complication {keys.index(first) + 1}: {lowered(says)}"


def _missing(draft: Mapping[str, Any]) -> Iterator[Open]:
    for complication in draft.get("complications") or []:
        place = f"C{complication[KEY]}"
        for action in complication.get("actions") or []:
            rung, number = f"{place}.a{action[KEY]}", f"rung {action['position']}"
            for field, says in (
                ("result", f"The result of {number}"),
                ("minutes", f"How long {number} took"),
            ):
                if action.get(field) is None:
                    yield Open(_of_which(draft, place, says), f"open {rung}.{field}")
        for name, says in (
            ("segments", "Where it lay"),
            ("actions_known", "Are these all the acts?"),
            ("harm", "Harm, as rated after the rescue"),
        ):
            if complication.get(name) is None:
                yield Open(_of_which(draft, place, says), f"open {place}.{name}")
        if (complication.get("device") or {}).get("kept") is None:
            says = "Was the device kept, sent to the maker or discarded?"
            yield Open(_of_which(draft, place, says), f"open {place}.device.kept")
    for name, says in (
        ("injuries", "Injuries, or that there were none"),
        ("outcome", "After the laboratory"),
        ("antiplatelet_plan", "Antiplatelet plan"),
        ("duties", "Duties"),
    ):
        if draft.get(name) is None:
            yield Open(says, "none injuries" if name == "injuries" else f"open {name}")
