"""Two pages at one draft: what one changed is put onto what now stands, field by field. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from registry.canonical import Json
from registry.editing.places import Draft, Found, Gone, Refused, copied, found, sub_places
from registry.field_kinds import Field
from registry.forms.labels import words_of
from registry.forms.meaning import meaning, put, typed_fields
from registry.forms.showing import shown


@dataclass(frozen=True, slots=True)
class Clash:
    """A field that both changed, each to something else, or whose row is gone (`theirs` is None then), in words."""

    name: str
    label: str
    mine: str
    theirs: str | None


@dataclass(frozen=True, slots=True)
class Merged:
    """What now stands with what this page changed; where they clash theirs stands, unless mine was preferred."""

    document: Draft
    clashes: tuple[Clash, ...]


def merge(
    base: Mapping[str, Json], mine: Mapping[str, Json], theirs: Mapping[str, Json], prefer_mine: bool = False
) -> Merged:
    """Put what `mine` changed against `base` onto `theirs`; the three are left alone.

    `mine` is what `read` made of `base`: it differs in fields, not in rows. With `prefer_mine` a clash is settled by
    mine, save where the row is gone; settled ones are not named.
    """
    before, changed, standing = dict(base), dict(mine), dict(theirs)
    merged: Draft = copied(theirs)
    clashes = []
    for place in sub_places(changed):
        for name, kind in typed_fields(place.kind):
            value = meaning(changed, place, name, kind)
            was = _stands(before, place.name, name, kind)
            if value != was:
                clash = _merge_field(merged, standing, changed, place, name, kind, was, prefer_mine)
                clashes += [clash] if clash else []
    return Merged(merged, tuple(clashes))


def _stands(draft: Draft, place: str, name: str, kind: Field) -> Json:
    return meaning(draft, found(draft, place), name, kind)


def _merge_field(
    merged: Draft,
    standing: Draft,
    changed: Draft,
    place: Found,
    name: str,
    kind: Field,
    was: Json,
    prefer: bool,
) -> Clash | None:
    full, value = f"{place.name}.{name}", meaning(changed, place, name, kind)
    try:
        now = _stands(standing, place.name, name, kind)
    except Gone:
        return field_clash(changed, None, place, name)
    if now == value:
        return None
    if now == was or prefer:
        try:
            put(merged, full, value)
            return None
        except Refused:  # what it refers to is gone, or no longer fits
            pass
    return field_clash(changed, standing, place, name)


def field_clash(changed: Draft, standing: Draft | None, place: Found, name: str) -> Clash:
    """A field of a place with both values in words; `standing` is None where its row is gone."""
    full = f"{place.name}.{name}"
    theirs = None if standing is None else spoken(standing, full)
    return Clash(full, words_of(place.kind.name, name).label, spoken(changed, full), theirs)


def spoken(draft: Draft, name: str) -> str:
    """What a field says, in words."""
    (field,) = shown(draft, name)
    if field.unknown:
        return "Not known"
    if field.kind in ("choice", "choices"):
        labels = [option.label for option in field.options if option.value in field.chosen]
        return ", ".join(labels) or ("None" if field.value == [] else "Not recorded")
    return field.text or "Not recorded"
