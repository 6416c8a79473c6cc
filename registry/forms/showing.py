"""What a page shows of a draft, field by field, and what a browser would send back of it untouched. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from registry import field_kinds as kinds
from registry.canonical import Json, write
from registry.drawings.phrases import lowered
from registry.editing.answers import label
from registry.editing.places import KEY, Draft, Found, Gone, found, parts_of, sub_places
from registry.editing.references import REFERRED
from registry.editing.rungs import spoken
from registry.editing.typed import allows_unknown, fits_scale
from registry.field_kinds import Field
from registry.forms.labels import words_of
from registry.forms.local_copy import may_stay_on_the_device
from registry.forms.meaning import BEFORE_THE_FIRST, climbed, meaning, place_of, typed_fields
from registry.terms import UNKNOWN
from registry.vocabulary import word_list, word_lists

_CONTROLS: dict[type[Field], str] = {
    kinds.Number: "number",
    kinds.Text: "lines",
    kinds.Date: "date",
    kinds.Clock: "clock",
    **dict.fromkeys((kinds.Code, kinds.Grade, kinds.YesNo, kinds.Medina), "choice"),
    **dict.fromkeys((kinds.Reference, kinds.Position), "choice"),
}
_MEDINA = ("1,1,1", "1,1,0", "1,0,1", "0,1,1", "1,0,0", "0,1,0", "0,0,1")


@dataclass(frozen=True, slots=True)
class Option:
    """One answer of a choice."""

    value: str
    label: str


NOT_RECORDED = Option("", "Not recorded")
NOT_KNOWN = Option(UNKNOWN, "Not known")


@dataclass(frozen=True, slots=True)
class FieldShown:
    """One field as a page shows it.

    `kind` is the control: number, line, lines, date, clock, values (several in one line, semicolons between them),
    choice (one of the options) or choices (any of them). `value` is what is stored; `text` what stands in the control;
    `chosen` the options that are chosen. `unknown` is None where not knowing is one of the options, or cannot be said;
    else whether the box `NAME?` is ticked. A textarea is printed with a line break before its text, since HTML takes
    one away. `local` fields may be kept on the device while there is no network.
    """

    name: str
    label: str
    kind: str
    value: Json
    text: str = ""
    unknown: bool | None = None
    options: tuple[Option, ...] = ()
    chosen: tuple[str, ...] = ()
    unit: str = ""
    hint: str = ""
    message: str = ""
    local: bool = False

    @property
    def stepped(self) -> bool:
        """Whether it counts minutes, which are given one more or one less by a touch."""
        return self.kind == "number" and self.unit.startswith("minutes")


def sections(draft: Mapping[str, Json]) -> list[str]:
    """The name of every place that has fields: single objects though absent, and the rows that there are."""
    return [place.name for place in sub_places(draft)]


def shown(
    draft: Mapping[str, Json],
    section: str,
    typed: Mapping[str, str] | None = None,
    messages: Mapping[str, str] | None = None,
) -> list[FieldShown]:
    """The fields of a section, or the one field of that name, with texts that could not be read in place of values.

    Gone where the draft has no such place.
    """
    whole = dict(draft)
    return [
        _shown(whole, place, name, kind, typed or {}, messages or {})
        for place, name, kind in named_fields(whole, section)
    ]


def named_fields(draft: Draft, name: str) -> Iterator[tuple[Found, str, Field]]:
    """The fields of a section, or the one field of that name."""
    try:
        place, wanted = found(draft, name), ""
    except Gone:
        above, wanted = parts_of(name)
        place = found(draft, above)
    names = [(field, kind) for field, kind in typed_fields(place.kind) if wanted in ("", field)]
    if not names and wanted:
        raise Gone(f"There is no field {wanted} at {place.name}.")
    yield from ((place, field, kind) for field, kind in names)


def control(kind: Field) -> str:
    """By which control a field of this kind is shown."""
    if isinstance(kind, kinds.List):
        return "choices" if isinstance(kind.item, kinds.Code) else "values"
    return _CONTROLS.get(type(kind), "line")


def _shown(
    draft: Draft, place: Found, name: str, kind: Field, typed: Mapping[str, str], messages: Mapping[str, str]
) -> FieldShown:
    full, words, how = f"{place.name}.{name}", words_of(place.kind.name, name), control(kind)
    stands = meaning(draft, place, name, kind)
    texts, unknown = texts_of(kind, stands)
    if full in typed:
        texts, unknown = [typed[full]], f"{full}?" in typed if unknown is not None else None
    choice = how in ("choice", "choices")
    single = kind.item if isinstance(kind, kinds.List) else kind
    return FieldShown(
        name=full,
        label=words.label,
        kind=how,
        value=(place.thing or {}).get(name),
        text="" if choice or not texts else texts[0],
        unknown=unknown,
        options=_options(draft, place, kind, texts) if choice else (),
        chosen=tuple(texts) if choice else (),
        unit=single.unit if isinstance(single, kinds.Number) else "",
        hint=words.hint,
        message=messages.get(full, ""),
        local=may_stay_on_the_device(place.name, name, how),
    )


def texts_of(kind: Field, stands: Json) -> tuple[list[str], bool | None]:
    """What a browser sends of a field that means this, and whether its box "not known" is ticked (None: no box)."""
    if control(kind) == "choices":
        return list(stands or []), None
    box = stands == UNKNOWN if allows_unknown(kind) else None
    if box or stands is None:
        return [""], box
    if isinstance(kind, kinds.List):
        return ["; ".join("?" if item == UNKNOWN else _text(item) for item in stands)], None
    return [_text(stands)], box


def _text(value: Json) -> str:
    return value if isinstance(value, str) else write(value)


def _options(draft: Draft, place: Found, kind: Field, chosen: list[str]) -> tuple[Option, ...]:
    """The answers offered, and those that are stored though they are offered no more."""
    if isinstance(kind, kinds.List):
        assert isinstance(kind.item, kinds.Code)
        offered = _codes(kind.item.list, kind.item.not_here)
    else:
        offered = (NOT_RECORDED, *_answers(draft, place, kind))
    known = {option.value for option in offered}
    strange = [code for code in dict.fromkeys(chosen) if code not in known]
    listed = kind.item if isinstance(kind, kinds.List) else kind
    lists = listed.list if isinstance(listed, kinds.Code) else ""
    return (*offered, *(Option(code, label(lists, code) if lists else code) for code in strange))


def _answers(draft: Draft, place: Found, kind: Field) -> tuple[Option, ...]:
    if isinstance(kind, kinds.Code):
        return _codes(kind.list, kind.not_here)
    if isinstance(kind, kinds.Grade):
        return _grades((place.thing or {}).get("scale"))
    if isinstance(kind, kinds.Reference):
        return tuple(_rows(draft, place, kind.to))
    if isinstance(kind, kinds.Position):
        return tuple(_rungs(draft, place))
    if isinstance(kind, kinds.Medina):
        return (*(Option(code, code) for code in _MEDINA), NOT_KNOWN)
    return (Option("yes", "Yes"), Option("no", "No"), NOT_KNOWN)


@cache
def _codes(list_name: str, not_here: tuple[str, ...]) -> tuple[Option, ...]:
    terms = word_list(list_name).terms.values()
    return tuple(
        Option(term.code, term.label) for term in terms if not term.retired and term.code not in not_here
    )


def _grades(scale: Json) -> tuple[Option, ...]:
    if f"grade_{scale}" in word_lists():
        return _codes(f"grade_{scale}", ())
    words = _codes("harm_scale", ())
    return tuple(option for option in words if fits_scale(option.value, scale))


def _rows(draft: Draft, place: Found, noun: str) -> Iterator[Option]:
    for row in draft.get(REFERRED[noun]) or []:
        if row is not place.thing:
            named = place_of(noun, row)
            yield Option(named, f"{noun.capitalize()} {row.get('ref') or named}{_described(noun, row)}")


def _described(noun: str, row: Mapping[str, Any]) -> str:
    if noun == "lesion":
        segments = row.get("segments") or []
        return f": segment {', '.join(segments)}" if segments else ""
    list_name, field = ("injury_kind", "kind") if noun == "injury" else ("situation", "situation")
    return f": {label(list_name, row[field]).lower()}" if row.get(field) else ""


def _rungs(draft: Draft, place: Found) -> Iterator[Option]:
    there = climbed(draft, place)
    if there is not None:
        yield Option(BEFORE_THE_FIRST, "Before the first rung")
        for rung in there[1].get("actions") or []:
            yield Option(
                f"{there[0]}.a{rung[KEY]}",
                f"After {lowered(spoken(rung)).rstrip(',')}",
            )


def sent(field: FieldShown) -> dict[str, list[str]]:
    """What a browser sends of a field that nobody touched."""
    texts = list(field.chosen) if field.kind in ("choice", "choices") else [field.text]
    posted = {field.name: texts} if texts else {}
    return {**posted, f"{field.name}?": ["on"]} if field.unknown else posted
