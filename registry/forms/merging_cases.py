"""Two changes of one whole case, rows and fields: what one changed is put onto what the other made of it. Pure.

`merging` does it for the fields that a page sent; here rows come, go and move as well. The three documents have the
same row keys for the same rows; a document without keys is given them by `aligned`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from registry import case_fields as fields
from registry.canonical import Json
from registry.editing.answers import label, said_value
from registry.editing.places import (
    BY_LIST,
    CASE,
    Draft,
    Found,
    Gone,
    Refused,
    Rows,
    copied,
    found,
    inside,
    stands,
    sub_places,
)
from registry.editing.references import REFERRED
from registry.editing.rungs import spoken as spoken_rung
from registry.field_kinds import Field, List, Position, Reference, Thing
from registry.forms.labels import words_of
from registry.forms.meaning import meaning, put, typed_fields
from registry.forms.merging import Clash, Merged, field_clash, spoken
from registry.forms.placing_rows import (
    Keyed,
    bare,
    keep_last_keys,
    keyed,
    list_at,
    moved,
    place_rows,
    say_none,
    woven,
)

_TOLD = 6
"""How many fields of a row are told where it is asked about."""


def merge_cases(
    base: Mapping[str, Json], mine: Mapping[str, Json], theirs: Mapping[str, Json], prefer_mine: bool = False
) -> Merged:
    """Put what `mine` changed against `base`, rows and fields, onto `theirs`; the three are left alone.

    Where both changed the same, theirs stands and a clash is named; with `prefer_mine` mine stands, and only what
    cannot stand any more is named. A field of a row that they made into another is asked about like one that they
    changed; so is a ladder to which both gave rungs or another order, since which came first is for people to say.
    """
    work = _Merging(dict(base), dict(mine), dict(theirs), prefer_mine, copied(theirs))
    work.rows_below(CASE, fields.CASE)
    for place in sub_places(work.mine):
        work.fields_of(place)
    work.names()
    return Merged(work.merged, tuple(work.clashes))


@dataclass
class _Merging:
    """The three, what comes of them, and on the way: rows put in bare, and rows that they made into another."""

    base: Draft
    mine: Draft
    theirs: Draft
    prefer_mine: bool
    merged: Draft
    clashes: list[Clash] = field(default_factory=list)
    fresh: list[str] = field(default_factory=list)
    other: list[str] = field(default_factory=list)

    def rows_below(self, place: str, kind: Thing) -> None:
        """Bring the rows below a place to what both made of them, outer before inner."""
        prefix = "" if place == CASE else f"{place}."
        for name, inner in kind.fields.items():
            if isinstance(inner, Thing):
                self.rows_below(f"{prefix}{name}", inner)
            elif isinstance(inner, List) and isinstance(inner.item, Thing):
                rows = BY_LIST[name]
                self._list(place, prefix, rows, inner.item)
                for key in keyed(self.merged, place, name).keys() & keyed(self.mine, place, name).keys():
                    here = f"{prefix}{rows.step}{key}"
                    if here not in self.fresh:
                        self.rows_below(here, inner.item)

    def _list(self, place: str, prefix: str, rows: Rows, kind: Thing) -> None:
        was, my, their = (keyed(one, place, rows.list) for one in (self.base, self.mine, self.theirs))
        dropped, new = set(), []
        for key in {**was, **my, **their}:
            here = f"{prefix}{rows.step}{key}"
            if key in was and key in their and key not in my:
                dropped |= {key} if self._drops(here, rows, kind, their) else set()
            elif key in my and key not in their and (key not in was or self._returns(here, rows, kind, my)):
                new.append(key)
            elif key in was and key in their and rows.first:
                self.other += [here] if was[key].get(rows.first) != their[key].get(rows.first) else []
        if rows.noun == "complication" and not new and dropped >= their.keys():
            dropped = set()  # each removed what the other left: a case has at least one
        standing = keyed(self.merged, place, rows.list)
        for key in new:
            standing[key] = bare(my[key], kind, standing.values(), rows.step)
            self.fresh.append(f"{prefix}{rows.step}{key}")
        order = self._order(prefix, rows, was, my, their)
        kept = [key for key in order if key in standing and key not in dropped]
        if kept != list(their):
            place_rows(self.merged, place, rows, [standing[key] for key in kept])
        self._none(place, prefix, rows, len(kept))

    def _order(self, prefix: str, rows: Rows, was: Keyed, my: Keyed, their: Keyed) -> list[int]:
        both = moved([*was], [*my], [*their]) and moved([*was], [*their], [*my]) and list(my) != list(their)
        if both and rows.noun == "rung" and not self.prefer_mine:
            called = words_of("complication", rows.list).label
            self.clashes.append(Clash(f"{prefix}{rows.list}", called, _ladder(my), _ladder(their)))
        return woven([*was], [*my], [*their], self.prefer_mine)

    def _drops(self, here: str, rows: Rows, kind: Thing, their: Keyed) -> bool:
        """Whether a row goes that this side removed: not where the other side changed it."""
        changes = list(_changes(self.base, self.theirs, here))
        if changes and not self.prefer_mine:
            called = _called(self.theirs, here, rows, kind, their)
            self.clashes.append(Clash(here, called, "Removed", _told(changes)))
        return self.prefer_mine or not changes

    def _returns(self, here: str, rows: Rows, kind: Thing, my: Keyed) -> bool:
        """Whether a row that the other side removed is put back: where this side changed it and is preferred."""
        changes = list(_changes(self.base, self.mine, here))
        if changes and not self.prefer_mine:
            self.clashes.append(Clash(here, _called(self.mine, here, rows, kind, my), _told(changes), None))
        return bool(changes) and self.prefer_mine

    def _none(self, place: str, prefix: str, rows: Rows, standing: int) -> None:
        """That there is none of something, where it was said; a clash where the other side recorded some."""
        was, my, their = (list_at(one, place, rows.list) for one in (self.base, self.mine, self.theirs))
        mine_says, they_say = my == [] and was != [], their == [] and was != []
        if standing and mine_says != they_say:
            if not self.prefer_mine:
                called = words_of(found(self.merged, place).kind.name, rows.list).label
                told = ["None" if one == [] else f"{len(one or ())} recorded" for one in (my, their)]
                self.clashes.append(Clash(f"{prefix}{rows.list}", called, *told))
            if mine_says == self.prefer_mine:
                place_rows(self.merged, place, rows, [])
                say_none(self.merged, place, rows, True)
        elif not standing and (my == [] or their == []):
            say_none(self.merged, place, rows, mine_says or they_say or my == their)

    def fields_of(self, place: Found) -> None:
        """Bring the fields of one place to what both made of them."""
        try:
            holder = found(self.merged, place.name).thing
        except Gone:
            return
        if holder is not None and place.thing is not None:
            keep_last_keys(holder, place.thing)
        fresh, other = (inside(place.name, rows) for rows in (self.fresh, self.other))
        for name, kind in typed_fields(place.kind):
            value = meaning(self.mine, place, name, kind)
            was, now = (
                None if fresh else _meant(one, place.name, name, kind) for one in (self.base, self.theirs)
            )
            if value not in (was, now) and not (
                (self.prefer_mine or (now == was and not other)) and self._put(place, name, value)
            ):
                standing = self.theirs if stands(self.theirs, place.name) else None
                self.clashes.append(field_clash(self.mine, standing, place, name))

    def names(self) -> None:
        """Drop the names of rows that only mine dropped, since nothing refers to them any more."""
        for noun, name in REFERRED.items():
            was, my = keyed(self.base, CASE, name), keyed(self.mine, CASE, name)
            for key, row in keyed(self.merged, CASE, name).items():
                dropped = key in was and key in my and was[key].get("ref") and not my[key].get("ref")
                if dropped and not _referred(self.merged, noun, row.get("ref")):
                    row.pop("ref", None)

    def _put(self, place: Found, name: str, value: Json) -> bool:
        try:
            put(self.merged, f"{place.name}.{name}", value)
        except Refused:  # what it refers to is gone, or no longer fits
            return False
        return True


def _referred(draft: Draft, noun: str, ref: str | None) -> bool:
    return any(
        isinstance(kind, Reference) and kind.to == noun and (place.thing or {}).get(name) == ref
        for place in sub_places(draft)
        for name, kind in place.kind.fields.items()
    )


def _meant(draft: Draft, place: str, name: str, kind: Field) -> Json:
    return meaning(draft, found(draft, place), name, kind) if stands(draft, place) else None


def _changes(before: Draft, after: Draft, place: str) -> Iterator[str]:
    """What was changed in a row, in words; that it follows a rung which moved is no change of its own."""
    there = [one for one in sub_places(after) if inside(one.name, [place])]
    gone = {one.name for one in sub_places(before) if inside(one.name, [place])} - {one.name for one in there}
    yield from ("Something in it removed" for _ in gone)
    for one in there:
        if not stands(before, one.name):
            yield "Something in it added"
        for name, kind in typed_fields(one.kind):
            now = meaning(after, one, name, kind)
            if not isinstance(kind, Position) and now != _meant(before, one.name, name, kind):
                yield f"{words_of(one.kind.name, name).label}: {spoken(after, f'{one.name}.{name}')}"


def _told(changes: list[str]) -> str:
    more = "; and more" if len(changes) > _TOLD else ""
    return "; ".join(changes[:_TOLD]) + more


def _called(draft: Draft, here: str, rows: Rows, kind: Thing, beside: Mapping[int, Any]) -> str:
    """What a row is called: by what it is, or by its number."""
    row: Any = found(draft, here).thing
    if rows.noun == "rung":
        return spoken_rung(row).rstrip(",")
    noun = rows.noun.replace("_", " ").capitalize()
    if rows.first and row.get(rows.first):
        return f"{noun}, {said_value(kind.fields[rows.first], row[rows.first])}"
    return f"{noun} {list(beside.values()).index(row) + 1}"


def _ladder(rungs: Keyed) -> str:
    return "; ".join(
        f"{number} {label('technique', rung['technique']) if rung.get('technique') else 'Not recorded'}"
        for number, rung in enumerate(rungs.values(), start=1)
    )
