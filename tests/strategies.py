"""Hypothesis strategies: case documents that pass every check, made from the table of fields, and changed ones."""

from __future__ import annotations

import copy
import datetime
from collections.abc import Callable
from decimal import Decimal
from functools import cache
from typing import Any

from hypothesis import strategies as st

from registry import case_fields as fields
from registry.canonical import Json, shortest
from registry.documents.rules import others
from registry.documents.visiting import survey
from registry.ladder import COUNTED_AIMS, RESULTS_OF_OTHER_ACTS, RESULTS_OF_RESCUE
from registry.terms import CLOSED, OTHER, UNKNOWN, Aim, Result
from registry.vocabulary import VERSION, word_list, word_lists
from tests.builders import TODAY, Document

Strategy = st.SearchStrategy[Any]

PROCEDURES = (datetime.date(2019, 1, 1), datetime.date(2025, 12, 31))
"""Between these days lie the procedures, after them and up to the tests' today all other days that are past."""

_texts = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=20)
_names = st.text("abcXYZ019-_. é", max_size=8).map(lambda text: f"n{text}")
_ABSENT = object()
_UDIS = ["(01)51022222233336(10)A213B1", "(01)09506000134352(21)77", "+A123BJC5D6E71G"]


def _number(kind: fields.Number) -> Strategy:
    low, high = (Decimal(str(limit)) for limit in kind.hard)
    if kind.whole:
        numbers: Strategy = st.integers(int(low), int(high))
    else:
        numbers = st.integers(int(low * 1000), int(high * 1000)).map(lambda n: shortest(Decimal(n) / 1000))
    return numbers | st.just(UNKNOWN) if kind.unknown else numbers


def _code(kind: fields.Code) -> Strategy:
    words = word_list(kind.list)
    return st.sampled_from(
        [code for code in words.codes if not words[code].retired and code not in kind.not_here]
    )


def _date(kind: fields.Date) -> Strategy:
    if kind.required:
        days = st.dates(*PROCEDURES)
    else:
        days = st.dates(datetime.date(2026, 1, 1), datetime.date(2030, 12, 31) if kind.future else TODAY)
    return st.builds(lambda day, length: day.isoformat()[:length], days, st.sampled_from([10, 10, 7, 4]))


def _grade(kind: fields.Grade) -> Strategy:
    scales = [words for name, words in word_lists().items() if name.startswith("grade_")]
    return st.sampled_from(sorted({code for words in scales for code in words.codes}))


def _list(kind: fields.List) -> Strategy:
    return st.lists(_of(kind.item), min_size=1 if kind.required else 0, max_size=3 if kind.limit else 2)


def _thing(kind: fields.Thing) -> Strategy:
    """Each field that may be missing is drawn apart, for `optional` of Hypothesis leaves nearly all of them out."""
    values = {
        name: _of(inner) if inner.required else st.one_of(st.just(_ABSENT), st.none(), _of(inner), _of(inner))
        for name, inner in kind.fields.items()
    }
    return st.fixed_dictionaries(values).map(_without_absent)


def _without_absent(drawn: Document) -> Document:
    return {name: value for name, value in drawn.items() if value is not _ABSENT}


_MADE: dict[type[fields.Field], Callable[[Any], Strategy]] = {
    fields.Thing: _thing,
    fields.List: _list,
    fields.Text: lambda kind: _texts,
    fields.Identifier: lambda kind: st.sampled_from(_UDIS) | _texts,
    fields.Name: lambda kind: st.just(VERSION) if kind.pattern else _names,
    fields.Person: lambda kind: st.sampled_from(["p-001", "p-002", UNKNOWN]),
    fields.Model: lambda kind: st.sampled_from(["HAL-S3", "W 14", UNKNOWN]),
    fields.Label: lambda kind: st.just("named below"),
    fields.Reference: lambda kind: st.integers(0, 2),
    fields.Code: _code,
    fields.Grade: _grade,
    fields.YesNo: lambda kind: st.sampled_from(["yes", "no", UNKNOWN]),
    fields.Number: _number,
    fields.Position: lambda kind: st.integers(kind.lowest, 4),
    fields.Date: _date,
    fields.Clock: lambda kind: st.times().map(lambda time: f"{time:%H:%M}"),
    fields.Medina: lambda kind: st.sampled_from(["1,1,0", "0,0,1", UNKNOWN]),
}


def _of(kind: fields.Field) -> Strategy:
    return _MADE[type(kind)](kind)


@cache
def case_documents() -> st.SearchStrategy[Document]:
    """Documents that no check refuses: all kinds of fields, unknowns, nulls, empty lists and notes."""
    return _of(fields.CASE).map(_mended)


def _mended(document: Document) -> Document:
    """The same document with what several fields must agree in put right."""
    _name_and_refer(document)
    for complication in document["complications"]:
        _climb(complication)
    _place_after(document)
    outcome = document.get("outcome") or {}
    for name in ("death", "surgery"):
        if outcome.get(name) is not None and all(value is None for value in outcome[name].values()):
            del outcome[name]
    _agree_on_dominance(document)
    for kind, thing in _objects(document):
        if kind is fields.FAILED_DEVICE:
            _fit(thing)
        if thing.get("grade") is not None:
            _regrade(thing)
        if named := others(kind, thing):
            thing["note"] = (
                f"{', '.join(named)}: what it was" if kind is fields.COMPLICATION else "what it was"
            )
    return document


def _objects(document: Document) -> list[tuple[fields.Thing, Any]]:
    return [(kind, thing) for _, kind, thing in survey(document).things]


def _name_and_refer(document: Document) -> None:
    refs = {}
    for kind, name in (("lesion", "lesions"), ("complication", "complications"), ("injury", "injuries")):
        items = document.get(name) or []
        _number_refs(items, kind[0].upper())
        refs[kind] = [item["ref"] for item in items if item.get("ref") is not None]
    for complication in document["complications"]:
        _number_refs(complication.get("fragments") or [], "F")
    earlier: list[str] = []
    for thing_kind, thing in _objects(document):
        for name, inner in thing_kind.fields.items():
            if isinstance(inner, fields.Reference) and thing.get(name) is not None:
                by_earlier = thing_kind is fields.COMPLICATION and name == "caused_by"
                known = earlier if by_earlier else refs[inner.to]
                thing[name] = known[thing[name] % len(known)] if known else None
        if thing_kind is fields.COMPLICATION and thing.get("ref") is not None:
            earlier.append(thing["ref"])


def _number_refs(items: list[Document], letter: str) -> None:
    for number, item in enumerate(items, start=1):
        if item.get("ref") is not None:
            item["ref"] = f"{letter}{number}"


def _climb(complication: Document) -> None:
    """Puts positions, results and situations of the actions right, in the order in which they were done."""
    faced = complication["situation"]
    in_order = sorted(complication.get("actions") or [], key=lambda action: action["position"])
    for position, action in enumerate(in_order, start=1):
        action["position"] = position
        if action.get("aim") in COUNTED_AIMS and faced == CLOSED:
            action["aim"] = Aim.LOOK.value
        aim = action.get("aim")
        counted = aim in COUNTED_AIMS
        if aim not in (None, UNKNOWN, OTHER) and action.get("result") is not None:
            rescue = counted or aim == Aim.TREAT_INJURY
            if action["result"] not in (RESULTS_OF_RESCUE if rescue else RESULTS_OF_OTHER_ACTS):
                action["result"] = Result.PARTLY.value
        if counted and action.get("result") == Result.RESOLVED:
            action["situation_after"] = CLOSED
        elif action.get("situation_after") == CLOSED and aim != Aim.LOOK:
            action["situation_after"] = None
        faced = action.get("situation_after") or faced


def _place_after(document: Document) -> None:
    lengths = {one.get("ref"): len(one.get("actions") or []) for one in document["complications"]}
    for complication in document["complications"]:
        for option in complication.get("declined") or []:
            _cut(option, len(complication.get("actions") or []))
    for harm in [*document["complications"], *(document.get("injuries") or [])]:
        _cut(harm, lengths.get(harm.get("caused_by"), 0))


def _cut(holder: Document, last: int) -> None:
    if holder.get("after_position") is not None:
        holder["after_position"] = min(holder["after_position"], last)


def _agree_on_dominance(document: Document) -> None:
    segments = word_list("segment")
    needed = {
        segments[code].properties.get("dominance")
        for kind, thing in _objects(document)
        for name in kind.fields
        for code in _segments(name, thing)
    } - {None}
    if not needed <= {document["procedure"].get("dominance")}:
        document["procedure"]["dominance"] = "co_dominant"


def _segments(name: str, thing: Any) -> list[str]:
    if name in ("segment", "recipient_segment"):
        return [thing[name]] if thing.get(name) else []
    return list(thing.get("segments") or []) if name == "segments" else []


def _fit(device: Any) -> None:
    for measure, (low, high) in word_list("device_class")[device["class"]].properties.get("hard", {}).items():
        if isinstance(value := device.get(measure), int | Decimal):
            limits = [shortest(Decimal(str(limit))) for limit in (low, high)]
            device[measure] = min(max(value, limits[0]), limits[1])


def _regrade(thing: Any) -> None:
    scale = thing.get("scale")
    if scale in (None, UNKNOWN):
        thing["grade"] = UNKNOWN
    elif scale == OTHER:
        thing["grade"] = OTHER
    elif thing["grade"] not in (words := word_list(f"grade_{scale}")):
        thing["grade"] = words.codes[len(thing["grade"]) % len(words.codes)]


_whole_characters = st.characters(codec="utf-8")


def json_values(characters: Strategy = _whole_characters) -> Strategy:
    """Any JSON value as it is read: its numbers of nine digits and three decimals, its text of these characters."""
    texts = st.text(characters, max_size=20)
    decimals = st.integers(-999_999_999, 999_999_999).map(lambda n: shortest(Decimal(n) / 1000))
    scalars = st.none() | st.booleans() | st.integers(-999_999_999, 999_999_999) | decimals | texts
    names = st.sampled_from([name.rsplit(".")[-1] for name, _ in fields.walk()]) | texts
    return st.recursive(
        scalars,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(names, inner, max_size=4),
        max_leaves=12,
    )


_TEMPTING: list[Json] = [
    *(None, True, False, 0, -1, 1, 2, 101, 99_999_999, Decimal("0.5"), Decimal("1.001")),
    *(
        UNKNOWN,
        OTHER,
        CLOSED,
        "",
        " ",
        "\t",
        "\x00",
        "yes",
        "full",
        "any_percutaneous",
        "wire_stuck",
        "free",
        "ahrq",
    ),
    *("n" * 17, "n" * 65, "n" * 201, "n" * 20_001, "0,0,0", "1,0,1", "24:00", "23:59", "L1", "C1", "I1"),
    *("2026-02-30", "2026-13", "2199", "1899", "2026-06-30", "2026-07-01", "2026.1", "2999.9", "1"),
    *([], {}, [None], [[]], [UNKNOWN] * 101, {"note": "x"}),
]


_anything = st.sampled_from(_TEMPTING) | json_values()
_ways = st.sampled_from(["replaced", "replaced", "removed", "doubled", "added"])
_names_to_add = st.sampled_from(["extra", "gtin", "ref", "note", "grade", "minutes"])


@st.composite
def mutations(draw: st.DrawFn, documents: st.SearchStrategy[Document]) -> Json:
    """A document with one to three places removed, replaced, doubled or added; it may still be a valid one."""
    changed = copy.deepcopy(draw(documents))
    for _ in range(draw(st.integers(1, 3))):
        places = list(_places(changed))
        if places:
            holder, key = places[draw(st.integers(0, len(places) - 1))]
            _mutate(draw, holder, key)
    return changed


def _mutate(draw: st.DrawFn, holder: Any, key: Any) -> None:
    match draw(_ways):
        case "replaced":
            holder[key] = copy.deepcopy(draw(_anything))
        case "removed":
            del holder[key]
        case "doubled" if isinstance(holder, list):
            holder.append(copy.deepcopy(holder[key]))
        case _ if isinstance(holder, dict):
            holder[draw(_names_to_add)] = copy.deepcopy(draw(_anything))


def _places(value: Any) -> Any:
    for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
        yield value, key
        if isinstance(inner, dict | list):
            yield from _places(inner)
