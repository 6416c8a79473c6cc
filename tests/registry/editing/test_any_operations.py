"""Whatever is done in whatever order, a draft stays whole."""

from __future__ import annotations

import random
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from registry import case_fields as fields
from registry.canonical import canonical
from registry.documents.shape import shape
from registry.editing import Refused, apply, begun, finished
from registry.editing.places import BY_LIST, KEY, ROWS, copied, sub_places
from registry.field_kinds import Code, Grade, List, Reference, Thing
from registry.ladder import positions
from registry.vocabulary import word_list
from tests.builders import Document
from tests.strategies import case_documents

OPERATIONS = 60


def an_operation(draft: Document, by: random.Random) -> str:
    """The words of some operation, mostly one that can be done."""
    places = list(sub_places(draft))
    rungs = [place for place in places if place.kind is fields.ACTION]
    complication = by.choice([place for place in places if place.kind is fields.COMPLICATION]).name
    rung = by.choice(rungs).name if rungs else "C1.a1"
    above, key = rung.split(".a")
    injury = by.choice([place.name for place in places if place.kind is fields.INJURY] or ["I1"])
    technique = by.choice(word_list("technique").codes)
    field = by.choice(places)
    name = by.choice(list(field.kind.fields))
    return by.choice(
        [
            *(f"add rung {complication} {technique}",) * 4,
            *(f"remove rung {above} {key}", f"move rung {above} {key} {by.choice(['up', 'down'])}") * 3,
            f"place rung {above} {key} {by.randint(0, 9)}",
            *(f"result {above} {key} {by.choice(word_list('result').codes)}",) * 3,
            f"decline {complication} {technique}",
            f"injury {above} {by.choice(word_list('injury_kind').codes)} {by.choice(['0', key])}",
            f"treats {rung} {injury}",
            f"caused {by.choice([complication, injury])} {above} {by.choice(['0', key])}",
            f"after {injury} {key}",
            f"fragment {complication}",
            f"segment {complication} {by.choice(word_list('segment').codes)}",
            an_addition(field.name, by),
            a_removal(field.name),
            a_choice(field.name, name, field.kind.fields[name], by),
            f"unset {field.name}.{name}",
            f"none {field.name}.{name}",
        ]
    )


def an_addition(place: str, by: random.Random) -> str:
    rows = by.choice(ROWS)
    return f"add {rows.noun}" if rows.at else f"add {rows.noun} {place}"


def a_removal(place: str) -> str:
    above, _, step = place.rpartition(".")
    for rows in ROWS:
        if step.startswith(rows.step) and step.removeprefix(rows.step).isdecimal():
            return f"remove {rows.noun} {above} {step.removeprefix(rows.step)}".replace("  ", " ")
    return "keep"


def a_choice(place: str, name: str, kind: Any, by: random.Random) -> str:
    if isinstance(kind, Code):
        return f"set {place}.{name} {by.choice(word_list(kind.list).codes)}"
    if isinstance(kind, List) and isinstance(kind.item, Code):
        return f"toggle {place}.{name} {by.choice(word_list(kind.item.list).codes)}"
    if isinstance(kind, Reference):
        return f"set {place}.{name} {by.choice(['L1', 'L2', 'C1', 'C2', 'I1', 'none'])}"
    if isinstance(kind, Grade):
        return f"set {place}.{name} unknown"
    return f"set {place}.{name} {by.randint(0, 20)}"


def rows_by_list(draft: Document) -> dict[tuple[str, str], list[int]]:
    """The keys of every list of objects, by where it stands."""
    found: dict[tuple[str, str], list[int]] = {}
    for place in sub_places(draft):
        for name, inner in place.kind.fields.items():
            if isinstance(inner, List) and isinstance(inner.item, Thing):
                found[place.name, name] = [row[KEY] for row in (place.thing or {}).get(name) or []]
    return found


def assert_whole(draft: Document) -> None:
    document = finished(draft)
    complications = document["complications"]
    lengths = {one.get("ref"): len(one.get("actions") or []) for one in complications}
    for complication in complications:
        assert positions(complication) == list(range(1, lengths_of(complication) + 1))
        for option in complication.get("declined") or []:
            assert 0 <= (option.get("after_position") or 0) <= lengths_of(complication)
    for harm in [*complications, *(document.get("injuries") or [])]:
        if harm.get("caused_by") is not None:
            assert 0 <= (harm.get("after_position") or 0) <= lengths[harm["caused_by"]]
    known = {
        noun: {row["ref"] for row in document.get(name) or [] if row.get("ref")}
        for noun, name in (("lesion", "lesions"), ("complication", "complications"), ("injury", "injuries"))
    }
    for place in sub_places(draft):
        for name, inner in place.kind.fields.items():
            value = (place.thing or {}).get(name)
            assert not isinstance(inner, Reference) or value is None or value in known[inner.to]
    assert "'_" not in str(keys_of(document))
    assert [str(wrong) for wrong in shape(canonical(document)) if wrong.value is not None] == []


def lengths_of(complication: Document) -> int:
    return len(complication.get("actions") or [])


def keys_of(value: Any) -> list[Any]:
    if isinstance(value, dict):
        return [*value, *(keys_of(inner) for inner in value.values())]
    return [keys_of(item) for item in value] if isinstance(value, list) else []


@given(case_documents(), st.integers(0, 2**32))
def test_after_any_operations_a_draft_is_whole_and_what_was_given_is_as_it_was(document: Document, seed: int):
    by = random.Random(seed)
    draft = begun(document)
    given_so_far: dict[tuple[str, str], set[int]] = {}
    for _ in range(OPERATIONS):
        before = copied(draft)
        words = an_operation(draft, by)
        try:
            following = apply(draft, words).document
        except Refused as refused:
            assert str(refused).endswith("."), words
            following = draft
        assert draft == before, words
        assert_new_keys_are_new(draft, following, given_so_far)
        draft = following
    assert_whole(draft)


def assert_new_keys_are_new(
    before: Document, following: Document, given_so_far: dict[tuple[str, str], set[int]]
) -> None:
    there = rows_by_list(before)
    for where, keys in rows_by_list(following).items():
        assert len(set(keys)) == len(keys)
        seen = given_so_far.setdefault(where, set()) | set(there.get(where, []))
        assert not (set(keys) - set(there.get(where, []))) & seen
        given_so_far[where] = seen | set(keys)


@given(case_documents())
def test_a_draft_begun_and_finished_is_the_document(document: Document):
    before = copied(document)
    draft = begun(document)
    assert canonical(finished(draft)) == canonical(document)
    assert document == before
    assert begun(draft) == draft


@given(case_documents(), st.integers(0, 2**32))
def test_a_rung_moved_there_and_back_changes_nothing(document: Document, seed: int):
    by = random.Random(seed)
    draft = begun(document)
    for place in draft["complications"]:
        for action in place.get("actions") or []:
            words = f"place rung C{place[KEY]} {action[KEY]}"
            there = apply(draft, f"{words} {by.randint(1, 4)}").document
            assert apply(there, f"{words} {action['position']}").document == draft


def test_every_list_of_rows_has_a_noun():
    lists = {
        path.rsplit(".", 1)[-1]
        for path, kind in fields.walk()
        if isinstance(kind, List) and isinstance(kind.item, Thing)
    }
    assert lists == set(BY_LIST)
