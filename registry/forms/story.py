"""The sections of the logging page: places of a draft with their fields, objects and rows, and the groups they open in.

Pure; prints nothing and decides nothing: `codec` shows and reads, `editing` changes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from registry.canonical import Json
from registry.drawings.phrases import lowered, raised
from registry.editing.places import BY_LIST, CASE, KEY, Gone, found, parts_of
from registry.field_kinds import Code, List, Thing
from registry.forms.choices import Pick, listed, offered
from registry.forms.labels import words_of
from registry.forms.merging import spoken
from registry.forms.showing import FieldShown, shown
from registry.vocabulary import word_list

Draft = Mapping[str, Json]
Words = Mapping[str, str]

_ROWS: Mapping[str, str] = {
    "access": "Access site",
    "guide": "Guide catheter",
    "staff": "Member of staff",
    "flow": "Flow reading",
    "in_hospital": "Event in hospital",
    "declined": "Option not tried",
    "fragment": "Piece",
    "follow_up": "Follow-up",
    "other_device": "Other device",
}
"""What a row is called in its title, by its noun in operations, where the two differ."""


@dataclass(frozen=True, slots=True)
class RowsShown:
    """A list of rows: how one is added, how it is said that there are none, and the rows."""

    label: str
    add: str
    pick: Pick | None
    none: str
    empty: bool
    rows: tuple[Section, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A place with its fields, the single objects in it and its lists; `has` names what a post of it is to be read."""

    place: str
    title: str
    remove: str
    fields: tuple[FieldShown, ...]
    has: tuple[str, ...]
    parts: tuple[Section, ...]
    lists: tuple[RowsShown, ...]

    @property
    def wrong(self) -> bool:
        """Whether something is the matter with one of its fields that do not count minutes."""
        return any(field.message and not field.stepped for field in self.fields)

    @property
    def bare(self) -> bool:
        """Whether nothing is recorded in it, and nothing is wrong."""
        said = any(field.value is not None or field.message for field in self.fields)
        rows = any(rows.rows or rows.empty for rows in self.lists)
        return not said and not rows and all(part.bare for part in self.parts)


@dataclass(frozen=True, slots=True)
class Group:
    """One line of the rest of the story: closed it tells what is recorded, open it has its sections."""

    name: str
    title: str
    told: str
    opened: bool
    sections: tuple[Section, ...] = ()


@dataclass(frozen=True, slots=True)
class Shower:
    """What all sections of one page share: the draft, texts that could not be read, remarks by field name."""

    draft: Draft
    typed: Words
    messages: Words

    def section(
        self, place: str, title: str, without: frozenset[str] = frozenset(), remove: str = ""
    ) -> Section:
        """The section of a place; `without` are names of fields, objects and lists asked elsewhere on the page."""
        kind = found(dict(self.draft), place).kind
        fields = [
            field
            for field in shown(self.draft, place, self.typed, self.messages)
            if parts_of(field.name)[1] not in without
        ]
        parts, lists = [], []
        for name, inner in kind.fields.items():
            if name in without:
                continue
            below = name if place == CASE else f"{place}.{name}"
            if isinstance(inner, Thing):
                parts.append(self.section(below, words_of(kind.name, name).label))
            elif isinstance(inner, List) and isinstance(inner.item, Thing):
                lists.append(self.rows(place, name))
        has = tuple(field.name for field in fields) if without else (place,)
        return Section(place, title, remove, tuple(fields), has, tuple(parts), tuple(lists))

    def rows(self, place: str, name: str) -> RowsShown:
        """The rows of a list."""
        there = found(dict(self.draft), place)
        kind, rows = there.kind.fields[name], BY_LIST[name]
        assert isinstance(kind, List) and isinstance(kind.item, Thing)
        items = (there.thing or {}).get(name)
        label = words_of(there.kind.name, name).label
        title = _ROWS.get(rows.noun, raised(rows.noun))
        prefix = "" if place == CASE else f"{place}."
        pick = None
        first = kind.item.fields.get(rows.first or "")
        add = f"add {rows.noun} {place}"
        if isinstance(first, Code) and rows.noun != "injury":
            codes = listed(first.list, offered(word_list(first.list), first.not_here))
            pick = Pick(add, f"{label}: add one", "Add it", (("", codes),))
        return RowsShown(
            label,
            add,
            pick,
            f"none {prefix}{name}" if items is None else "",
            items == [],
            tuple(
                self.section(
                    f"{prefix}{rows.step}{item[KEY]}",
                    f"{title} {number}",
                    remove=f"remove {rows.noun} {place} {item[KEY]}",
                )
                for number, item in enumerate(items or [], start=1)
            ),
        )


IN_SHORT = frozenset({"date", "kind"})
OF_COMPLICATION = frozenset(
    {"situation", "ending", "segments", "actions_known", "actions", "declined", "fragments", "ended"}
)
OF_DEVICE = frozenset({"class", "model", "lot"})
OF_RUNG = frozenset({"technique", "aim", "result", "situation_after"})
OF_INJURY = frozenset({"scale", "grade"})
OF_DECLINED = frozenset({"reason"})
_GROUPS = (
    ("patient", "Patient and lesion"),
    ("procedure", "The procedure"),
    ("outcome", "After the laboratory"),
    ("antiplatelet_plan", "Antiplatelet plan"),
    ("duties", "Duties"),
    ("follow_up", "Follow-up"),
    ("case", "In your own words"),
)
GROUPS = frozenset(name for name, _ in _GROUPS)
_OF_STEP = {"L": "patient", "patient": "patient", "lesions": "patient", "procedure": "procedure"} | {
    name: name for name in ("outcome", "antiplatelet_plan", "duties", "follow_up")
}
_IN_LADDER = re.compile(r"(C\d+\.[adf]\d+|I\d+)(\.|$)", re.ASCII)
_IN_SHORT = re.compile(
    r"C\d+\.(situation|ending|segments|actions_known|device\.(class|model|lot)|ended\.where)$"
)


def where(name: str) -> str:
    """What has to be open for a place or field to be on the page: a row's place, a group's name, or nothing."""
    if ladder := _IN_LADDER.match(name):
        return ladder[1]
    if _IN_SHORT.match(name) or name in ("procedure.date", "procedure.kind"):
        return ""
    first = name.partition(".")[0]
    if re.fullmatch(r"C\d+", first):
        return first
    step = re.sub(r"\d+$", "", first)
    return {"duty": "duties", "follow_up": "follow_up"}.get(step) or _OF_STEP.get(step, CASE)


def groups(shower: Shower, opened: str) -> list[Group]:
    """The rest of the story, one group open at most."""
    made = []
    complications: Any = shower.draft.get("complications") or []
    for number, complication in enumerate(complications, start=1):
        which = f"complication {number}" if len(complications) > 1 else "the complication"
        made.append(_group(shower, f"C{complication[KEY]}", f"More about {which}", opened))
    return made + [_group(shower, name, title, opened) for name, title in _GROUPS]


def _group(shower: Shower, name: str, title: str, opened: str) -> Group:
    sections = tuple(_sections(shower, name))
    is_open = opened == name
    return Group(name, title, _told(shower, sections), is_open, sections if is_open else ())


def _sections(shower: Shower, name: str) -> Iterator[Section]:
    if name.startswith("C"):
        yield _without_device(shower, name)
    elif name == "patient":
        yield shower.section("patient", "The patient")
        yield _rows_only(shower, "lesions")
    elif name == "procedure":
        yield shower.section("procedure", "The procedure", IN_SHORT)
    elif name in ("duties", "follow_up"):
        yield _rows_only(shower, name)
    elif name == CASE:
        kinds = found(dict(shower.draft), CASE).kind.fields
        yield shower.section(CASE, "In your own words", frozenset(kinds) - {"id", "narrative", "note"})
    else:
        yield shower.section(name, words_of(CASE, name).label)


def _without_device(shower: Shower, place: str) -> Section:
    """A complication's own fields, its device without what the short record asks."""
    section = shower.section(place, "", OF_COMPLICATION | {"device"})
    device = shower.section(f"{place}.device", "The device", OF_DEVICE)
    ended = shower.section(f"{place}.ended", "Where it ended", frozenset({"where"}))
    return Section(place, "", "", section.fields, section.has, (device, *section.parts, ended), section.lists)


def _rows_only(shower: Shower, name: str) -> Section:
    return Section(CASE, "", "", (), (), (), (shower.rows(CASE, name),))


def _told(shower: Shower, sections: tuple[Section, ...]) -> str:
    said = list(_recorded(shower, sections))
    if not said:
        return "nothing yet"
    return "; ".join(said[:3]) + (f" and {len(said) - 3} more" if len(said) > 3 else "")


def _recorded(shower: Shower, sections: tuple[Section, ...]) -> Iterator[str]:
    for section in sections:
        for field in section.fields:
            if field.value is not None and parts_of(field.name)[1] != "id":
                yield f"{lowered(field.label)}: {_short(_within(field, spoken(dict(shower.draft), field.name)))}"
        yield from _recorded(shower, section.parts)
        for rows in section.lists:
            if rows.empty:
                yield f"{lowered(rows.label)}: none"
            yield from _recorded(shower, rows.rows)


def _within(field: FieldShown, text: str) -> str:
    """Words chosen from a list as they stand within a sentence; what was typed stays as it is."""
    chosen = field.kind in ("choice", "choices")
    return ", ".join(lowered(part) for part in text.split(", ")) if chosen else text


def _short(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:39]}…"


def opened_row(shower: Shower, opened: str) -> list[Section]:
    """The fields of the row that is open in the ladder, without what its questions ask; none where no row is open."""
    if not _IN_LADDER.match(opened):
        return []
    step = opened.rpartition(".")[2][0]
    without = {"a": OF_RUNG, "d": OF_DECLINED, "I": OF_INJURY}.get(step, frozenset())
    try:
        return [shower.section(opened, "", without)]
    except Gone:
        return []


def short_fields(shower: Shower, place: str) -> list[FieldShown]:
    """The fields of the short record that are typed: those of the procedure stand with the first complication."""
    names = ["procedure.date", "procedure.kind"] if place == first_place(shower.draft) else []
    names += [f"{place}.device.model", f"{place}.device.lot"]
    return [field for name in names for field in shown(shower.draft, name, shower.typed, shower.messages)]


def first_place(draft: Mapping[str, Any]) -> str:
    """The place of the first complication."""
    return f"C{draft['complications'][0][KEY]}"
