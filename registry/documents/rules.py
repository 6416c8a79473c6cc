"""Rules that join several fields of one document; the document has the right shape already (`shape`)."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from registry import case_fields as fields
from registry.canonical import KEPT_WHEN_EMPTY, Json
from registry.contradictions import contradictions
from registry.documents.dates import dates
from registry.documents.shape import in_use, is_number, within
from registry.documents.visiting import Survey, survey
from registry.findings import Finding, first
from registry.vocabulary import OTHER, UNKNOWN, word_list

Document = Mapping[str, Json]

_REFERRED = {"lesion": "lesions", "complication": "complications", "injury": "injuries"}
_NO_NOTE_NEEDED = ("sex",)


def rules(document: Document, today: datetime.date) -> Iterator[Finding]:
    """The first findings of the joint rules; `today` is the site's own."""
    yield from first(_all_rules(document, today))


def _all_rules(document: Document, today: datetime.date) -> Iterator[Finding]:
    seen = survey(document)
    yield from _emptied(document)
    yield from _references(document, seen)
    yield from _ladders(document)
    yield from _after_positions(document)
    yield from _grades(seen)
    yield from _others(seen)
    yield from _dominance(document, seen)
    yield from _sizes(seen)
    yield from _usual(seen)
    yield from dates(document, seen, today)
    yield from _ends_together(document)


def _emptied(document: Document) -> Iterator[Finding]:
    outcome = document.get("outcome") or {}
    for name in KEPT_WHEN_EMPTY:
        found = outcome.get(name)
        if found is not None and all(value is None for value in found.values()):
            yield Finding(
                f"outcome.{name}",
                found,
                f"an empty {name} says nothing",
                'write "unknown" in it, or leave it out',
            )


def refs(document: Document, kind: str) -> list[str]:
    """The refs of all lesions, complications or injuries that have one."""
    return [item["ref"] for item in document.get(_REFERRED[kind]) or [] if item.get("ref") is not None]


def _doubled(names: list[str]) -> list[str]:
    return sorted(name for name, times in Counter(names).items() if times > 1)


def _references(document: Document, seen: Survey) -> Iterator[Finding]:
    known = {kind: refs(document, kind) for kind in _REFERRED}
    there = {kind: set(names) for kind, names in known.items()}
    for kind, names in known.items():
        for ref in _doubled(names):
            yield Finding(
                _REFERRED[kind], ref, f"two {_REFERRED[kind]} have the same ref", "a ref of its own for each"
            )
    for number, complication in enumerate(document["complications"]):
        pieces = [piece["ref"] for piece in complication.get("fragments") or [] if piece.get("ref")]
        for ref in _doubled(pieces):
            yield Finding(
                f"complications[{number}].fragments", ref, "two fragments have the same ref", "one each"
            )
    for path, reference, value in seen.values[fields.Reference]:
        assert isinstance(reference, fields.Reference)
        to = reference.to
        if value not in there[to]:
            few = ", ".join(known[to][:12]) or "none here"
            more = f" and {len(known[to]) - 12} more" if len(known[to]) > 12 else ""
            yield Finding(path, value, f"there is no {to} with this ref", few + more)
    yield from _circles(document)


def _circles(document: Document) -> Iterator[Finding]:
    causes = {c["ref"]: c.get("caused_by") for c in document["complications"] if c.get("ref") is not None}
    for number, complication in enumerate(document["complications"]):
        seen = {complication.get("ref")}
        cause = complication.get("caused_by")
        while cause is not None and cause not in seen:
            seen.add(cause)
            cause = causes.get(cause)
        if cause is not None and cause == complication.get("ref"):
            yield Finding(
                f"complications[{number}].caused_by",
                complication["caused_by"],
                "a circle: followed from cause to cause, it comes back to itself",
                "a complication that happened before it",
            )


def _ladders(document: Document) -> Iterator[Finding]:
    for number, complication in enumerate(document["complications"]):
        here = f"complications[{number}]"
        try:
            for finding in contradictions(complication):
                yield finding.under(here)
        except ValueError as error:
            yield Finding(f"{here}.actions", [a["position"] for a in complication["actions"]], str(error))


def _after_positions(document: Document) -> Iterator[Finding]:
    lengths = {
        c["ref"]: len(c.get("actions") or []) for c in document["complications"] if c.get("ref") is not None
    }
    for number, complication in enumerate(document["complications"]):
        here = f"complications[{number}]"
        last = len(complication.get("actions") or [])
        for index, option in enumerate(complication.get("declined") or []):
            yield from _after(option, last, f"{here}.declined[{index}]", "of this complication")
        yield from _after_in_cause(complication, lengths, here)
    for number, injury in enumerate(document.get("injuries") or []):
        yield from _after_in_cause(injury, lengths, f"injuries[{number}]")


def _after(holder: Mapping[str, Any], last: int, path: str, whose: str) -> Iterator[Finding]:
    after = holder.get("after_position")
    if after is not None and after > last:
        yield Finding(
            f"{path}.after_position", after, f"beyond the actions {whose}", f"0 to {last}, or leave it out"
        )


def _after_in_cause(holder: Mapping[str, Any], lengths: Mapping[str, int], path: str) -> Iterator[Finding]:
    cause: Any = holder.get("caused_by")
    if cause in lengths:
        yield from _after(holder, lengths[cause], path, f"of {cause}")
    elif cause is None and holder.get("after_position") is not None:
        yield Finding(
            f"{path}.after_position",
            holder["after_position"],
            "a position without caused_by says after which act, but not of which complication",
            refused=False,
        )


def _grades(seen: Survey) -> Iterator[Finding]:
    for path, kind, thing in seen.things:
        if "grade" not in kind.fields or thing.get("grade") is None:
            continue
        scale, grade = thing.get("scale"), thing["grade"]
        if scale in (None, UNKNOWN, OTHER):
            known = {UNKNOWN, OTHER} if scale == OTHER else {UNKNOWN}
            if grade not in known:
                yield Finding(
                    f"{path}.grade", grade, "a grade needs its scale", "the name of its scale in scale"
                )
        elif not in_use(words := word_list(f"grade_{scale}"), grade):
            grades = ", ".join(code for code in words.codes if in_use(words, code))
            yield Finding(f"{path}.grade", grade, f"the scale {scale} has no such grade", grades)


def others(kind: fields.Thing, thing: Mapping[str, Json]) -> list[str]:
    """The fields of one object that hold `other`, which its note must explain."""
    found = []
    for name, inner in kind.fields.items():
        value = thing.get(name)
        if name in _NO_NOTE_NEEDED or value is None:
            continue
        single = isinstance(inner, fields.Code | fields.Grade) and value == OTHER
        listed = isinstance(inner, fields.List) and isinstance(inner.item, fields.Code) and OTHER in value
        if single or listed:
            found.append(name)
    return found


def _others(seen: Survey) -> Iterator[Finding]:
    for path, kind, thing in seen.things:
        named = others(kind, thing)
        if not named:
            continue
        note = thing.get("note") or ""
        here = f"{path}.note" if path else "note"
        if kind is fields.COMPLICATION:
            said = {name.strip().lower() for name in note.split(":")[0].split(",")} if ":" in note else set()
            if not set(named) <= said or not note.split(":", 1)[-1].strip():
                yield Finding(
                    here,
                    thing.get("note"),
                    f"other in {' and '.join(named)} needs a note that starts with the field's name",
                    f"{', '.join(named)}: what it was",
                )
        elif not note.strip():
            yield Finding(
                here, thing.get("note"), f"other in {' and '.join(named)} needs a note", "what it was"
            )


def _dominance(document: Document, seen: Survey) -> Iterator[Finding]:
    dominance = document["procedure"].get("dominance")
    if dominance not in ("right", "left"):
        return
    for path, kind, code in seen.values[fields.Code]:
        if not isinstance(kind, fields.Code) or kind.list != "segment":
            continue
        needed = word_list("segment")[code].properties.get("dominance")
        if needed is not None and needed != dominance:
            yield Finding(
                path,
                code,
                f"segment {code} exists with {needed} dominance only, and the dominance is {dominance}",
                "a segment of this dominance, or another dominance",
            )


def _sizes(seen: Survey) -> Iterator[Finding]:
    """Sizes that a device of its class cannot have are refused for the failed device, asked about for others."""
    for path, kind, thing in seen.things:
        if kind not in (fields.DEVICE, fields.FAILED_DEVICE) or thing.get("class") is None:
            continue
        limits = word_list("device_class")[thing["class"]].properties
        for measure in ("diameter_mm", "length_mm", "size_f"):
            value: Any = thing.get(measure)
            if not is_number(value):
                continue
            for name, refused in (("hard", kind is fields.FAILED_DEVICE), ("usual", False)):
                low, high = limits.get(name, {}).get(measure, (value, value))
                if not within(value, (low, high)):
                    says = (
                        "no device of this class has"
                        if name == "hard"
                        else "unusual for a device of this class"
                    )
                    yield Finding(f"{path}.{measure}", value, says, f"{low:g} to {high:g}", refused=refused)
                    break


def _usual(seen: Survey) -> Iterator[Finding]:
    for path, kind, value in seen.values[fields.Number]:
        assert isinstance(kind, fields.Number)
        if kind.usual and is_number(value) and not within(value, kind.usual):
            low, high = kind.usual
            yield Finding(
                path, value, "unusual: is that so?", f"usually {low:g} to {high:g} {kind.unit}", refused=False
            )


def _ends_together(document: Document) -> Iterator[Finding]:
    """What the outcome and the ladders say of the same thing."""
    outcome = document.get("outcome") or {}
    died = any(complication["ending"] == "died_before_end" for complication in document["complications"])
    if died and outcome.get("status_at_discharge") == "alive":
        yield Finding(
            "outcome.status_at_discharge",
            "alive",
            "a complication ended with the patient's death: is that so?",
            refused=False,
        )
