"""Small case documents for tests, a ladder in a line; may touch no model and no database."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from typing import Any

from registry.canonical import Json
from registry.documents import findings
from registry.findings import Finding
from registry.ladder import COUNTED_AIMS
from registry.vocabulary import word_list

Document = dict[str, Any]

TODAY = datetime.date(2026, 6, 30)
_ACT = re.compile(
    r"(?P<technique>\w+|-)(/(?P<aim>\w+))?(=(?P<result>\w+))?(>(?P<after>\w+))?(@(?P<minutes>\w+))?"
)


def a_ladder(line: str, **more: Json) -> Document:
    """A complication of a guidewire, such as `a_ladder("wire_stuck: steady_traction=unchanged, echo=done")`.

    An act is `technique/aim=result>situation_after@minutes`; all but the technique may be left out. The aim is then
    the technique's usual one, the result is not recorded, and what frees, retrieves or secures with the result
    resolved closes the complication. A technique `-` is not recorded. `more` are further fields, or other values.
    """
    situation, _, acts = line.partition(":")
    written = [act.strip() for act in acts.split(",") if act.strip()]
    return {
        "device": {"class": "guidewire"},
        "situation": situation.strip(),
        "ending": "out_whole",
        "actions": [_action(position, act) for position, act in enumerate(written, start=1)],
        **more,
    }


def _action(position: int, act: str) -> Document:
    found = _ACT.fullmatch(act)
    assert found, f"not an act: {act}"
    technique = None if found["technique"] == "-" else found["technique"]
    aim = found["aim"] or usual_aim(technique)
    closes = aim in COUNTED_AIMS and found["result"] == "resolved"
    minutes = found["minutes"]
    action = {
        "position": position,
        "technique": technique,
        "aim": aim,
        "result": found["result"],
        "situation_after": found["after"] or ("closed" if closes else None),
        "minutes": int(minutes) if minutes and minutes.isdecimal() else minutes,
    }
    return {key: value for key, value in action.items() if value is not None}


def usual_aim(technique: str | None) -> str | None:
    """The first of the aims that the word list gives a technique."""
    aims = word_list("technique")[technique].properties.get("aims") if technique else None
    return aims[0] if aims else None


def a_case(*complications: Document, **more: Json) -> Document:
    """The least that a case document needs, with the complications given or one without acts, and what is added."""
    return {
        "id": "N-1",
        "site": "north",
        "procedure": {"date": "2026-03-14"},
        "complications": list(complications) or [a_ladder("wire_stuck:")],
        **more,
    }


def refusals_of(document: Json) -> list[Finding]:
    """What a document is refused for, on the day of the tests."""
    return [finding for finding in findings(document, TODAY) if finding.refused]


def questions_of(document: Json) -> list[Finding]:
    """What is asked about a document, which is then accepted."""
    found = findings(document, TODAY)
    assert not [finding for finding in found if finding.refused]
    return found


def changed(document: Mapping[str, Any], path: str, value: Json) -> Document:
    """A copy of a document with another value at a path such as `complications[0].device.class`."""
    copy: Any = _copied(document)
    holder = copy
    *way, last = [int(step) if step.isdecimal() else step for step in re.findall(r"[^.\[\]]+", path)]
    for step in way:
        holder = holder.setdefault(step, {}) if isinstance(holder, dict) else holder[step]
    holder[last] = value
    return copy


def _copied(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _copied(inner) for key, inner in value.items()}
    return [_copied(item) for item in value] if isinstance(value, list) else value
