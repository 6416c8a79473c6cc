"""The logging page of one draft as plain values for its templates. Pure: the answer is the view's."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from registry import case_fields as fields
from registry.canonical import Json
from registry.drawings.coronary_map import coronary_map
from registry.drawings.ladder_picture import NARROW, ladder_picture
from registry.drawings.ladder_story import NO_NAMES
from registry.editing import Gone, finished
from registry.editing.places import KEY
from registry.forms import choices, codec
from registry.forms.choices import Choice, Pick, Question
from registry.forms.ladder_lines import LadderView, Line, injury_line, ladder_view
from registry.forms.showing import FieldShown
from registry.forms.still_open import Open, messages, remarks, still_open
from registry.forms.story import Group, Section, Shower, first_place, groups, opened_row, short_fields
from registry.terms import CLOSED, OTHER, UNKNOWN


@dataclass(frozen=True, slots=True)
class ComplicationView:
    """One complication: the short record's questions, its map and segments, its ladder and what closes it."""

    place: str
    title: str
    device: Question
    situation: Question
    where: Question
    map: str
    chosen: str
    ending: Question
    typed: tuple[FieldShown, ...]
    ladder: LadderView
    picture: str
    all_acts: Question
    ended_here: Question
    causes: tuple[Pick, ...]
    cause: str
    remove: str


@dataclass(frozen=True, slots=True)
class EditorView:
    """Everything below the page's head."""

    complications: tuple[ComplicationView, ...]
    other_injuries: tuple[Line, ...]
    no_injuries: str
    groups: tuple[Group, ...]
    opened: tuple[Section, ...]
    open: tuple[Open, ...]
    ready: bool
    heading: str


@dataclass(frozen=True, slots=True)
class Typed:
    """Texts that could not be read, with what is the matter, by field name."""

    texts: Mapping[str, str] = field(default_factory=dict)
    messages: Mapping[str, str] = field(default_factory=dict)


def unread(document: Mapping[str, Json], typed: Mapping[str, str]) -> dict[str, str]:
    """What is the matter with texts that were kept because they could not be read."""
    posted = {name: [text] for name, text in typed.items()}
    names = [name for name in typed if not name.endswith("?")]
    said = {}
    for name in names:
        try:
            said.update(codec.read(document, posted, [name]).messages)
        except Gone:
            said[name] = f"{name}, “{typed[name][:60]}”: its row is gone."
    return said


def editor_view(
    document: Mapping[str, Any],
    typed: Typed,
    opened: str,
    today: datetime.date,
    names: Mapping[str, str] = NO_NAMES,
) -> EditorView:
    """The page of a working draft; `names` are those of device models by code."""
    found = remarks(document, today)
    shower = Shower(document, typed.texts, {**messages(found), **typed.messages})
    told = {name: (says,) for name, says in messages(found).items()}
    complications = tuple(
        _complication(shower, one, number, opened, told, names)
        for number, one in enumerate(document["complications"], start=1)
    )
    refs = {one.get("ref") for one in document["complications"]} - {None}
    others = [one for one in document.get("injuries") or [] if one.get("caused_by") not in refs]
    return EditorView(
        complications,
        tuple(injury_line(one, opened) for one in others),
        "none injuries" if document.get("injuries") is None else "",
        tuple(groups(shower, opened)),
        tuple(opened_row(shower, opened)),
        tuple(still_open(document, found)),
        not any(finding.refused for _, finding in found),
        heading(document),
    )


def heading(document: Mapping[str, Any]) -> str:
    first = document["complications"][0]
    situation, segments = first.get("situation"), first.get("segments") or []
    if not situation:
        return "Nothing is recorded yet"
    words = choices.label_of("situation", situation)
    return words + (f", {_segments(segments)}" if segments else "")


def _segments(codes: list[str]) -> str:
    return ", ".join(choices.label_of("segment", code).lower() for code in codes)


def _complication(
    shower: Shower,
    one: Mapping[str, Any],
    number: int,
    opened: str,
    told: Mapping[str, tuple[str, ...]],
    names: Mapping[str, str],
) -> ComplicationView:
    document = shower.draft
    place = f"C{one[KEY]}"
    device = (one.get("device") or {}).get("class")
    chosen = list(one.get("segments") or [])
    where_ = Question(
        "",
        "Where did it lie?",
        choices.segments(place, chosen),
        told=told.get(f"{place}.segments", ()),
        pick=choices.beyond(place, one.get("places") or []),
    )
    causes = _causes(document, one, place) if number > 1 else ()
    situation = choices.situation(
        f"{place}.situation",
        "The situation, before anything was tried",
        device,
        one.get("situation"),
        (CLOSED,),
    )
    dominance = (document.get("procedure") or {}).get("dominance")
    drawn = coronary_map(dominance=dominance, chosen=chosen, selectable=True, name=f"map-{place}")
    return ComplicationView(
        place,
        "The short record" if number == 1 else f"Complication {number}",
        choices.device_class(place, device),
        situation,
        where_,
        drawn,
        _chosen(one),
        choices.told(choices.ending(place, one.get("ending")), told),
        tuple(short_fields(shower, place)),
        ladder_view(document, one, opened, names),
        _picture(document, one, place, names),
        _coded(f"{place}.actions_known", "Are these all the acts, in their order?", one.get("actions_known")),
        _coded(
            f"{place}.ended.where", "Did it end in this procedure?", (one.get("ended") or {}).get("where")
        ),
        causes,
        str(one.get("caused_by") or ""),
        f"remove complication {one[KEY]}" if len(document["complications"]) > 1 else "",
    )


def _coded(name: str, asks: str, chosen: str | None) -> Question:
    kind = fields.COMPLICATION.fields["actions_known"]
    if name.endswith("ended.where"):
        ended = fields.COMPLICATION.fields["ended"]
        assert isinstance(ended, fields.Thing)
        kind = ended.fields["where"]
    assert isinstance(kind, fields.Code)
    # That the acts are not known is an answer of its own there.
    without = (OTHER, UNKNOWN) if kind.list == "actions_known" else ()
    return choices.coded(name, asks, kind, chosen, without)


def _chosen(one: Mapping[str, Any]) -> str:
    words = [choices.label_of("segment", code) for code in one.get("segments") or []]
    words += [choices.label_of("place", code) for code in one.get("places") or []]
    return "; ".join(words)


def _picture(
    document: Mapping[str, Any], one: Mapping[str, Any], place: str, names: Mapping[str, str]
) -> str:
    """The ladder so far, drawn for a phone: beside the editor the page has no more room for it."""
    if not one.get("situation"):
        return ""
    whole = finished(document)
    index = [other[KEY] for other in document["complications"]].index(one[KEY])
    complication = whole["complications"][index]
    return ladder_picture(complication, whole, width=NARROW, names=names, name=f"ladder-{place}")


def _causes(document: Mapping[str, Any], one: Mapping[str, Any], place: str) -> tuple[Pick, ...]:
    """Which act of which complication caused it: a list of rungs, by complication."""
    groups_ = []
    for other in document["complications"]:
        if other is one:
            continue
        name = f"C{other[KEY]}"
        acts = [(f"{name} 0", "Before the first rung")]
        acts += [
            (
                f"{name} {act[KEY]}",
                f"Rung {act['position']}, {choices.label_of('technique', act.get('technique'))}",
            )
            for act in other.get("actions") or []
        ]
        label = f"{name}: {choices.label_of('situation', other.get('situation'))}"
        groups_.append((label, ((name, "Act not known"), *acts)))
    return (Pick(f"caused {place}", "The act that caused it", "Say so", tuple(groups_)),)


__all__ = ["Choice", "EditorView", "Typed", "editor_view", "first_place", "unread"]
