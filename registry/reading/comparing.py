"""What differs between two versions of a case, field by field in words; of sealed fields only that they differ.

Rungs and other things of a list are aligned by what they are, so that one that was put in between is told as added
and the others are not told as changed. Reads no row.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from difflib import SequenceMatcher
from typing import Any

from registry import case_fields as fields
from registry.canonical import Json
from registry.drawings.phrases import joined, lowered, plain, raised
from registry.reading.words import graded, on_day
from registry.terms import UNKNOWN
from registry.vocabulary import word_list

NOT_RECORDED = "not recorded"

_NAMES: Mapping[str, str] = {
    "action": "rung",
    "declined": "declined option",
    "content": "thing in it",
    "access": "access route",
    "guide": "guide catheter",
    "staff": "member of staff",
    "drug": "antiplatelet drug",
    "failed_device": "device",
    "in_hospital_event": "event in hospital",
    "follow_up_event": "event",
    "follow_up": "follow-up contact",
    "antiplatelet_plan": "antiplatelet plan",
    "status": "record",
    "acc_aha_type": "lesion type",
    "act_seconds": "clotting times",
    "timi": "flow",
    "in_hospital": "events in hospital",
    "mr_note": "note on magnetic resonance",
    "udi": "unique identifier",
    "actions_known": "whether these are all the acts",
    "after_position": "rung before it",
    "caused_by": "complication that caused it",
    "departs_because": "reason to depart from usual practice",
    "do_not_stop_before": "day before which it is not to be stopped",
    "kept": "what became of it",
    "part_failed": "part that failed",
    "who_decides_at_stop": "person who decides when it is due to stop",
    "by": "who did it",
    "length_out_mm": "length that came out",
    "loading_mg": "loading dose",
}
"""What things and fields are called where their name in the document is not a word for a page."""

_MANY: Mapping[str, str] = {
    "thing in it": "things in it",
    "member of staff": "members of staff",
    "event in hospital": "events in hospital",
    "injury": "injuries",
    "duty": "duties",
}
_UNIT = re.compile("_(mm|ml|mgy|f|units|mg|months|seconds)$")

_SIGNS: Mapping[str, tuple[str, ...]] = {
    "action": ("technique", "aim"),
    "declined": ("technique", "after_position"),
    "drug": ("agent",),
    "duty": ("kind",),
    "staff": ("person",),
    "content": ("what",),
    "device": ("class", "model"),
    "injury": ("kind",),
    "flow": ("segment",),
    "follow_up": ("date", "day"),
    "in_hospital_event": ("event",),
    "follow_up_event": ("event",),
    "access": ("site",),
    "guide": ("shape",),
}
"""The fields by which a thing of a list that has no `ref` is known again."""


def differences(before: Mapping[str, Json], after: Mapping[str, Json]) -> list[str]:
    """A sentence for each field, rung or other thing that differs; empty where the documents say the same."""
    return [raised(sentence) for sentence in _thing(before, after, fields.CASE, "")]


def _thing(before: Any, after: Any, kind: fields.Thing, where: str) -> Iterator[str]:
    for name, inner in kind.fields.items():
        if kind is fields.CASE and name in fields.VERSION_FIELDS:
            continue
        old, new = before.get(name), after.get(name)
        if old == new or (kind is fields.ACTION and name == "position"):
            continue
        if isinstance(inner, fields.Thing):
            yield from _whole_thing(old, new, inner, where, name)
        elif isinstance(inner, fields.List) and isinstance(inner.item, fields.Thing):
            yield from _things(old, new, inner.item, where)
        elif fields.sealed(inner):
            yield _sealed(old, new, where, name)
        else:
            told = [_value(value, inner, holder) for value, holder in ((old, before), (new, after))]
            yield f"{_at(where, called(name))}: was {told[0]}, is {told[1]}"


def _whole_thing(old: Any, new: Any, kind: fields.Thing, where: str, name: str) -> Iterator[str]:
    here = _at(where, called(name))
    found = list(_thing(old or {}, new or {}, kind, here))
    if found:
        yield from found
    elif old is None or new is None:
        yield f"{here}: was {_there(old)}, is {_there(new)}"


def _there(thing: Any) -> str:
    return NOT_RECORDED if thing is None else "recorded without particulars"


def _things(old: Any, new: Any, kind: fields.Thing, where: str) -> Iterator[str]:
    before, after = old or [], new or []
    many = len(before) > 1 or len(after) > 1 or kind is fields.ACTION
    if not before and not after:
        several = _MANY.get(called(kind.name), f"{called(kind.name)}s")
        yield f"{_at(where, several)}: were {_none(old)}, are {_none(new)}"
    for was, now in _aligned(before, after, kind):
        if was is None and now is not None:
            yield f"{numbered(where, kind, now, many)} was added{_particulars(after[now], kind)}"
        elif now is None and was is not None:
            yield f"{numbered(where, kind, was, many)} was removed{_particulars(before[was], kind)}"
        elif was is not None and now is not None:
            here = numbered(where, kind, now, many)
            moved = kind is fields.ACTION and was != now
            yield from _thing(before[was], after[now], kind, f"{here} (was {was + 1})" if moved else here)


def _none(things: Any) -> str:
    return NOT_RECORDED if things is None else "none"


Pair = tuple[int | None, int | None]


def _aligned(before: Sequence[Any], after: Sequence[Any], kind: fields.Thing) -> Iterator[Pair]:
    """Which thing of one list is which of the other, by their place; None stands for none."""
    old, new = ([_sign(thing, kind) for thing in things] for things in (before, after))
    for change, old_from, old_to, new_from, new_to in SequenceMatcher(None, old, new, False).get_opcodes():
        together = 0
        if change in ("equal", "replace"):
            together = min(old_to - old_from, new_to - new_from)
            yield from ((old_from + step, new_from + step) for step in range(together))
        yield from ((place, None) for place in range(old_from + together, old_to))
        yield from ((None, place) for place in range(new_from + together, new_to))


def _sign(thing: Any, kind: fields.Thing) -> tuple[str, ...]:
    if thing.get("ref") is not None:
        return (str(thing["ref"]),)
    return tuple(str(thing.get(name)) for name in _SIGNS.get(kind.name, ()))


def _particulars(thing: Any, kind: fields.Thing) -> str:
    """What an added or removed thing is: its technique and result, its kind, its day."""
    shown = (*_SIGNS.get(kind.name, ("situation", "part", "segments")), "result", "reason", "ending")
    told = [
        _value(thing[name], inner, thing)
        for name, inner in kind.fields.items()
        if name in shown and name in thing and not isinstance(inner, fields.Position)
    ]
    return f": {', '.join(told)}" if told else ""


def _sealed(old: Any, new: Any, where: str, name: str) -> str:
    done = "added" if old is None else "removed" if new is None else "changed"
    article = "an" if called(name)[0] in "aeio" else "a"
    sentence = f"{article} {called(name)} was {done}"
    return f"{where}: {sentence}" if where else sentence


def called(name: str) -> str:
    """What a thing or field of the document is called on a page, without its unit."""
    for risk in ("risk_answer_criterion", "risk_measure"):
        if name in word_list(risk) and name != UNKNOWN:
            return lowered(word_list(risk)[name].label)
    return _NAMES.get(name, _UNIT.sub("", name).replace("_", " "))


def _at(where: str, what: str) -> str:
    return f"{where}, {what}" if where else what


def numbered(where: str, kind: fields.Thing, place: int, many: bool) -> str:
    """Where something is: `rung 3`; a complication that is the only one is not named."""
    if kind is fields.COMPLICATION and not many:
        return where
    return _at(where, f"{called(kind.name)} {place + 1}" if many else called(kind.name))


def _value(value: Any, kind: fields.Field, holder: Mapping[str, Any]) -> str:
    """A value of the clear document in words."""
    if value is None:
        return NOT_RECORDED
    if isinstance(kind, fields.List):
        return joined([_value(item, kind.item, holder) for item in value]) or "none"
    if value == UNKNOWN:
        return "not known"
    match kind:
        case fields.Code():
            return lowered(word_list(kind.list)[value].label) if value in word_list(kind.list) else str(value)
        case fields.Grade():
            return graded(holder.get("scale"), value)
        case fields.Number():
            unit = "" if kind.unit.startswith(("days from", "minutes from", "as ")) else kind.unit
            return f"{plain(value)} {unit}".strip()
        case fields.Date():
            return on_day(value)
    return str(value)
