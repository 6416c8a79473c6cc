"""What import_cases refuses: each with a message and exit status 1, and the database as it was."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps

from registry.models import Head, Site
from tests.builders import a_case, a_ladder, changed
from tests.commands import as_json, command, jsonl

pytestmark = [pytest.mark.data, pytest.mark.django_db]

DEVICE = "complications[0].device"
LESION = {"lesions": [{"ref": "L1", "segments": ["4"]}]}


def left() -> dict[str, Any]:
    """What the database holds: a count for each table, and the head of the chain."""
    counts = {model._meta.label: model._default_manager.count() for model in apps.get_models()}
    return {**counts, "head": str(Head.objects.get())}


def two_that_cause_each_other() -> dict[str, Any]:
    first = a_ladder("wire_stuck:", ref="C1", caused_by="C2")
    return a_case(first, a_ladder("snare_stuck:", ref="C2", caused_by="C1"))


def doubled() -> dict[str, Any]:
    document = a_case(a_ladder("wire_stuck: steady_traction=unchanged, snare_single=unchanged"))
    return changed(document, "complications[0].actions[1].position", 1)


def gapped() -> dict[str, Any]:
    document = a_case(a_ladder("wire_stuck: steady_traction=unchanged, snare_single=unchanged"))
    return changed(document, "complications[0].actions[1].position", 3)


REFUSED: dict[str, tuple[Callable[[], Any], list[str]]] = {
    "a list in an object's place": (
        lambda: changed(a_case(), "procedure", [1]),
        ["$.procedure", "list", "object"],
    ),
    "an unknown property": (lambda: a_case(proceedure=1), ["$.proceedure", "unknown property", "procedure"]),
    "an unknown code": (
        lambda: changed(a_case(), f"{DEVICE}.class", "guide_wire"),
        ["$.complications[0].device.class", "guide_wire", "guidewire"],
    ),
    "a date in the future": (
        lambda: changed(a_case(), "procedure.date", "2199-01-01"),
        ["$.procedure.date", "2199-01-01", "future"],
    ),
    "a follow-up before the procedure": (
        lambda: a_case(follow_up=[{"date": "2026-03-13"}]),
        ["$.follow_up[0].date", "before the procedure"],
    ),
    "a discharge before the procedure": (
        lambda: a_case(outcome={"discharge_day": -1}),
        ["$.outcome.discharge_day", "-1"],
    ),
    "a number as text": (lambda: a_case(patient={"age": "71"}), ["$.patient.age", '"71"', "number"]),
    "a Medina class of no lesion": (
        lambda: a_case(lesions=[{"medina": "0,0,0"}]),
        ["$.lesions[0].medina", "0,0,0"],
    ),
    "a right-only segment with left dominance": (
        lambda: changed(a_case(**LESION), "procedure.dominance", "left"),
        ["$.lesions[0].segments[0]", "right", "left"],
    ),
    "positions doubled": (doubled, ["$.complications[0].actions", "1", "twice"]),
    "positions with a gap": (gapped, ["$.complications[0].actions", "no position 2"]),
    "a counted action after the end": (
        lambda: a_case(a_ladder("wire_stuck: steady_traction=resolved, snare_single=unchanged")),
        ["$.complications[0].actions[1]", "closed"],
    ),
    "a lesion that is not there": (
        lambda: a_case(a_ladder("wire_stuck:", lesion="L9")),
        ["$.complications[0].lesion", "L9"],
    ),
    "a complication that is not there": (
        lambda: a_case(injuries=[{"caused_by": "C9"}]),
        ["$.injuries[0].caused_by", "C9"],
    ),
    "a circle of caused_by": (two_that_cause_each_other, ["caused_by", "circle"]),
    "an unknown site": (lambda: a_case(site="nowhere"), ["$.site", "nowhere", "north"]),
    "21 complications": (lambda: a_case(*[a_ladder("wire_stuck:")] * 21), ["$.complications", "21", "20"]),
    "101 actions": (
        lambda: a_case(a_ladder("wire_stuck: " + ", ".join(["echo=done"] * 101))),
        ["$.complications[0].actions", "101", "100"],
    ),
    "a text of 20,001 characters": (
        lambda: a_case(narrative="x" * 20_001),
        ["$.narrative", "20001", "20000"],
    ),
    "an id of 65 characters": (lambda: a_case(id="x" * 65), ["$.id", "65", "64"]),
    "a ref of 17 characters": (
        lambda: a_case(a_ladder("wire_stuck:", ref="C" * 17)),
        ["$.complications[0].ref", "17", "16"],
    ),
    "other without a note": (lambda: changed(a_case(), f"{DEVICE}.class", "other"), ["note", "other"]),
    "no complication": (lambda: a_case() | {"complications": []}, ["$.complications", "1 or more"]),
    "no ending": (
        lambda: changed(a_case(), "complications[0].ending", None),
        ["$.complications[0].ending", "missing"],
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_a_wrong_document_is_refused_with_its_place_and_what_is_allowed(
    what: str, north: Site, tmp_path: Path
) -> None:
    make, said = REFUSED[what]
    before = left()
    outcome = command("import_cases", as_json(tmp_path / "case.json", make()))
    assert outcome.status == 1
    for words in said:
        assert words in outcome.err
    assert outcome.out == ""
    assert left() == before


GARBLED = {
    "not JSON": (b"{id: 1}", ["not JSON", "line 1"]),
    "cut in the middle": (json.dumps(a_case()).encode()[:100], ["not JSON"]),
    "another encoding": (
        json.dumps(a_case(narrative="caf\u00e9"), ensure_ascii=False).encode("latin-1"),
        ["UTF-8"],
    ),
    "UTF-16": (json.dumps(a_case()).encode("utf-16"), ["UTF-8"]),
    "NaN": (b'{"id": NaN}', ["NaN"]),
    "10^400": (b'{"id": 1' + b"0" * 400 + b"}", ["9 digits"]),
    "an exponent": (b'{"id": 1e3}', ["1e3", "exponent"]),
    "minus nought": (b'{"id": -0}', ["-0"]),
    "a doubled key": (b'{"id": "a", "id": "b"}', ["id", "twice"]),
    "nested 10,000 deep": (b"[" * 10_000 + b"]" * 10_000, ["deep"]),
    "nested 10,000 deep in a document": (b'{"id":' * 10_000 + b"1" + b"}" * 10_000, ["deep"]),
    "half a character": (json.dumps(a_case(narrative="\ud800")).encode(), ["narrative", "half a character"]),
    "a NUL": (json.dumps(a_case(narrative="a\0b")).encode(), ["narrative", "NUL"]),
    "nothing": (b"", ["not JSON"]),
    "an empty list": (b"[]", ["no case document"]),
    "a number": (b"7", ["number", "object"]),
    "a text": (b'"case"', ["text", "object"]),
    "null": (b"null", ["object"]),
}


@pytest.mark.parametrize("what", GARBLED)
@pytest.mark.parametrize("suffix", [".json", ".jsonl"])
def test_what_is_no_document_is_refused_in_words(what: str, suffix: str, north: Site, tmp_path: Path) -> None:
    raw, said = GARBLED[what]
    if suffix == ".jsonl" and what in ("nothing", "an empty list"):
        said = []
    path = tmp_path / f"cases{suffix}"
    path.write_bytes(raw)
    before = left()
    outcome = command("import_cases", path)
    assert outcome.status == 1
    for words in said:
        assert words in outcome.err
    assert left() == before


def test_one_wrong_line_refuses_the_whole_file_and_is_named(north: Site, tmp_path: Path) -> None:
    good = [a_case(id=f"N-{number}") for number in range(3)]
    before = left()
    path = jsonl(tmp_path / "cases.jsonl", [good[0], changed(good[1], f"{DEVICE}.class", "wyre"), good[2]])
    outcome = command("import_cases", path)
    assert outcome.status == 1
    assert "line 2: $.complications[0].device.class" in outcome.err
    assert left() == before


def test_every_wrong_line_is_named_at_once(north: Site, tmp_path: Path) -> None:
    wrong = [a_case(id=f"N-{number}", patient={"age": 200 + number}) for number in range(3)]
    outcome = command("import_cases", jsonl(tmp_path / "cases.jsonl", wrong))
    assert [f"line {number}:" in outcome.err for number in (1, 2, 3)] == [True] * 3


def test_the_same_id_twice_in_one_file_is_refused_and_both_lines_are_named(
    north: Site, tmp_path: Path
) -> None:
    before = left()
    outcome = command("import_cases", jsonl(tmp_path / "cases.jsonl", [a_case(), a_case(id="N-2"), a_case()]))
    assert outcome.status == 1
    assert "line 3" in outcome.err
    assert "line 1" in outcome.err
    assert left() == before


def test_a_line_beyond_a_megabyte_is_refused_and_the_next_is_still_read(north: Site, tmp_path: Path) -> None:
    actions = a_ladder("wire_stuck: " + ", ".join(["echo=done"] * 60))
    for action in actions["actions"]:
        action["note"] = "x" * 19_000
    path = jsonl(tmp_path / "cases.jsonl", [a_case(actions), a_case(id="N-2", patient={"age": 300})])
    outcome = command("import_cases", path)
    assert outcome.status == 1
    assert "line 1: longer than 1000000 bytes" in outcome.err
    assert "line 2: $.patient.age" in outcome.err


def test_a_file_that_is_not_there_or_of_another_form_is_refused(north: Site, tmp_path: Path) -> None:
    assert command("import_cases", tmp_path / "none.json").status == 1
    (tmp_path / "cases.xml").write_text("<case/>")
    outcome = command("import_cases", tmp_path / "cases.xml")
    assert outcome.status == 1
    assert ".json, .jsonl or .csv" in outcome.err


def test_a_class_that_contradicts_the_catalogue_is_refused(north: Site, tmp_path: Path) -> None:
    catalogue = tmp_path / "catalogue.csv"
    catalogue.write_text("maker,model,name,class\nOrlo,ORLO-1,Orlo One,guidewire\n")
    assert command("import_catalogue", catalogue).last == "created 1, unchanged 0, amended 0"
    wrong = changed(changed(a_case(), f"{DEVICE}.model", "ORLO-1"), f"{DEVICE}.class", "snare_single_loop")
    outcome = command("import_cases", as_json(tmp_path / "case.json", wrong))
    assert outcome.status == 1
    assert "ORLO-1" in outcome.err
    assert "guidewire" in outcome.err
    unknown = changed(changed(a_case(), f"{DEVICE}.model", "ORLO-1"), f"{DEVICE}.class", "unknown")
    assert command("import_cases", as_json(tmp_path / "case.json", unknown)).status == 0


def test_two_documents_of_one_file_cannot_give_a_new_model_two_classes(north: Site, tmp_path: Path) -> None:
    wire = changed(a_case(), f"{DEVICE}.model", "NEW-1")
    snare = changed(
        changed(a_case(id="N-2"), f"{DEVICE}.model", "NEW-1"), f"{DEVICE}.class", "snare_single_loop"
    )
    outcome = command("import_cases", jsonl(tmp_path / "cases.jsonl", [wire, snare]))
    assert outcome.status == 1
    assert "line 2" in outcome.err
