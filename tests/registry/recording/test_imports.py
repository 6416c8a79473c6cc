"""What import_cases does with what is right: creating, leaving, amending, bringing back, and taking it all back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from registry.access import MAY_WRITE, scope_of_command_line
from registry.canonical import read, write
from registry.documents import completed
from registry.documents.row_reading import clear_documents
from registry.models import Action, Case, DeviceModel, JournalEntry, Site, Staff, Version
from registry.recording.cases import ON_A_PAGE, amend_case, set_state, submit_case
from registry.recording.change import NotSaved
from registry.recording.exports import export_lines
from registry.recording.sites import add_site, give_role
from registry.terms import CaseState, Role
from tests.builders import a_case, a_ladder, changed
from tests.commands import Outcome, as_json, command, jsonl

pytestmark = [pytest.mark.data, pytest.mark.django_db]

CASES = Path(__file__).parents[3] / "fixtures" / "cases"


def batch_of(outcome: Outcome) -> str:
    """The batch number that an import printed in the line before the last."""
    line = outcome.out.splitlines()[-2]
    assert line.startswith("batch ")
    return line.removeprefix("batch ")


def exported() -> list[dict[str, Any]]:
    return [read(line) for line in export_lines(scope_of_command_line())]


def the_case(document_id: str = "N-1") -> Case:
    return Case.objects.select_related("site").get(document_id=document_id)


def test_a_case_goes_in_is_left_alone_the_second_time_and_comes_out_equal(
    north: Site, tmp_path: Path
) -> None:
    document = a_case(
        a_ladder("wire_stuck: steady_traction=unchanged, microcatheter_to_trap=resolved"), narrative="x"
    )
    path = as_json(tmp_path / "case.json", document)
    first, second = command("import_cases", path), command("import_cases", path)
    assert batch_of(first).isdecimal()
    assert first.last == "created 1, unchanged 0, amended 0"
    assert second.out.splitlines() == ["created 0, unchanged 1, amended 0"]
    assert exported() == [completed(document)]


def test_check_says_what_would_be_done_and_writes_nothing(north: Site, tmp_path: Path) -> None:
    path = as_json(tmp_path / "case.json", a_case())
    outcome = command("import_cases", path, "--check")
    assert (outcome.status, outcome.out) == (0, "would create 1, leave 0, amend 0\n")
    assert not Case.objects.exists()
    assert not JournalEntry.objects.filter(what="cases_imported").exists()


@pytest.mark.parametrize("number", range(1, 9))
def test_the_eight_cases_come_out_canonical_and_equal(number: int, tmp_path: Path) -> None:
    document = read((CASES / f"s{number}.json").read_bytes())
    add_site(document["site"], "Site", by=None)
    assert command("import_cases", CASES / f"s{number}.json").status == 0
    (line,) = export_lines(scope_of_command_line())
    assert line == write(completed(document))


@pytest.mark.parametrize("name", ["every_property", "minimum"])
def test_the_fullest_and_the_barest_document_come_out_canonical_and_equal(name: str) -> None:
    document = read((CASES / f"{name}.json").read_bytes())
    add_site(document["site"], "Site", by=None)
    assert command("import_cases", CASES / f"{name}.json").status == 0
    (line,) = export_lines(scope_of_command_line())
    assert line == write(completed(document))


def test_what_is_exported_goes_into_an_empty_registry_and_comes_out_the_same(
    north: Site, tmp_path: Path
) -> None:
    shuffled = a_case(
        a_ladder("wire_stuck: echo=done, steady_traction=unchanged"), narrative=" \u00e9\u0301\u2028 "
    )
    shuffled["complications"][0]["actions"].reverse()
    shuffled["lesions"] = [{"length_mm": 12.50}, {}, {"note": ""}]
    shuffled["injuries"] = []
    shuffled["outcome"] = {"troponin": {"note": "only a note"}, "death": {"day": "unknown"}, "flow": []}
    ids = ["b", "a", "B", "\u00e9", "z10", "z9", "\U0001f600", "\uffff"]
    first = tmp_path / "first.jsonl"
    command("import_cases", jsonl(tmp_path / "cases.jsonl", [shuffled | {"id": one} for one in ids]))
    assert command("export_cases", "--out", first).status == 0
    lines = first.read_bytes().split(b"\n")[:-1]
    assert [read(line)["id"] for line in lines] == sorted(ids)
    assert command("import_cases", first).last == f"created 0, unchanged {len(ids)}, amended 0"


def test_other_content_is_refused_without_a_reason_and_amends_with_one(north: Site, tmp_path: Path) -> None:
    command(
        "import_cases", as_json(tmp_path / "a.json", a_case(narrative="first", lesions=[{"length_mm": 9}]))
    )
    other = as_json(tmp_path / "b.json", a_case(narrative="second"))
    refused = command("import_cases", other)
    assert (refused.status, "--amend" in refused.err) == (1, True)
    assert command("import_cases", other, "--amend", " ").status == 1
    done = command("import_cases", other, "--amend", "the lesion was another")
    assert done.last == "created 0, unchanged 0, amended 1"
    assert exported() == [completed(a_case(narrative="second"))]
    assert Version.objects.filter(case=the_case()).count() == 2
    assert "another" not in "".join(Version.objects.values_list("text", flat=True))


def test_a_locked_case_and_one_edited_on_a_page_are_not_amended_by_a_file(
    north: Site, tmp_path: Path
) -> None:
    case = submit_case(a_case(), by=None)
    path = as_json(tmp_path / "b.json", a_case(narrative="by file"))
    edited = command("import_cases", path, "--amend", "why")
    assert (edited.status, "--replace-edits" in edited.err) == (1, True)
    assert command("import_cases", path, "--amend", "why", "--replace-edits").status == 0
    set_state(the_case(), CaseState.LOCKED, version=2, reason="done", by=None, source=ON_A_PAGE)
    third = as_json(tmp_path / "c.json", a_case(narrative="third"))
    locked = command("import_cases", third, "--amend", "why", "--replace-edits")
    assert (locked.status, "locked" in locked.err) == (1, True)
    assert command("import_cases", path).last == "created 0, unchanged 1, amended 0"
    assert case.code == the_case().code


def test_a_withdrawn_case_is_refused_even_unchanged_and_comes_back_with_a_reason(
    north: Site, tmp_path: Path
) -> None:
    path = as_json(tmp_path / "a.json", a_case())
    command("import_cases", path)
    set_state(the_case(), CaseState.WITHDRAWN, version=1, reason="a mistake", by=None, source=ON_A_PAGE)
    assert exported() == []
    assert command("import_cases", path).status == 1
    assert (
        command("import_cases", path, "--amend", "it was right").last == "created 0, unchanged 0, amended 1"
    )
    assert (the_case().state, the_case().version) == (CaseState.SUBMITTED, 3)
    assert exported() == [completed(a_case())]


def test_an_import_is_taken_back_whole(north: Site, tmp_path: Path) -> None:
    command("import_cases", as_json(tmp_path / "a.json", a_case(narrative="before")))
    both = [a_case(narrative="after"), a_case(id="N-2")]
    batch = batch_of(command("import_cases", jsonl(tmp_path / "b.jsonl", both), "--amend", "why"))
    undone = command("undo_import", batch, "--reason", "the wrong file")
    assert (undone.status, undone.last) == (0, "withdrawn 1, restored 1")
    assert exported() == [completed(a_case(narrative="before"))]
    assert the_case("N-2").state == CaseState.WITHDRAWN
    assert command("undo_import", batch, "--reason", "again").status == 1
    assert command("undo_import", "999999", "--reason", "none").status == 1


def test_an_import_that_brought_a_case_back_is_taken_back_to_withdrawn(north: Site, tmp_path: Path) -> None:
    path = as_json(tmp_path / "a.json", a_case())
    command("import_cases", path)
    set_state(the_case(), CaseState.WITHDRAWN, version=1, reason="a mistake", by=None, source=ON_A_PAGE)
    batch = batch_of(command("import_cases", path, "--amend", "it was right"))
    assert command("undo_import", batch, "--reason", "it was not").status == 0
    assert the_case().state == CaseState.WITHDRAWN


def test_an_import_whose_cases_changed_since_is_not_taken_back(north: Site, tmp_path: Path) -> None:
    batch = batch_of(command("import_cases", jsonl(tmp_path / "a.jsonl", [a_case(), a_case(id="N-2")])))
    amend_case(the_case(), a_case(narrative="edited"), version=1, reason="", by=None)
    refused = command("undo_import", batch, "--reason", "the wrong file")
    assert (refused.status, "N-1" in refused.err, "N-2" in refused.err) == (1, True, False)
    assert the_case("N-2").state == CaseState.SUBMITTED


def test_staff_codes_are_made_on_first_use_and_models_are_queued(north: Site, tmp_path: Path) -> None:
    document = changed(a_case(), "complications[0].device.model", "NEW-1")
    document["procedure"]["staff"] = [{"person": "p-1", "role": "first_operator"}, {"person": "unknown"}]
    command("import_cases", as_json(tmp_path / "a.json", document))
    assert list(Staff.objects.values_list("site__code", "code")) == [("north", "p-1")]
    model = DeviceModel.objects.get(code="NEW-1")
    assert (model.queued, model.device_class) == (True, "guidewire")


def test_what_a_form_would_ask_about_is_a_warning_and_accepted(north: Site, tmp_path: Path) -> None:
    document = a_case(a_ladder("wire_stuck: steady_traction=worse", ending="left_in_place", fragments=[]))
    outcome = command("import_cases", as_json(tmp_path / "a.json", document))
    assert outcome.status == 0
    assert "warning: document: $.complications[0].actions[0].situation_after" in outcome.err
    assert "warning: document: $.complications[0].ending" in outcome.err


@pytest.mark.parametrize("role", list(Role))
def test_only_those_who_may_write_at_every_site_import(role: Role, north: Site, tmp_path: Path) -> None:
    south = add_site("south", "South", by=None)
    give_role("one@north.example", north, role, by=None)
    path = as_json(tmp_path / "a.json", a_case())
    outcome = command("import_cases", path, "--as", "One@North.example")
    assert outcome.status == (0 if role in MAY_WRITE else 1)
    both = jsonl(tmp_path / "b.jsonl", [a_case(), a_case(site=south.code)])
    refused = command("import_cases", both, "--as", "one@north.example")
    assert refused.status == 1
    assert not Case.objects.filter(site=south).exists()


def test_nobody_and_somebody_deactivated_import_nothing(north: Site, tmp_path: Path) -> None:
    person = give_role("one@north.example", north, Role.OPERATOR, by=None)
    person.is_active = False
    person.save()
    path = as_json(tmp_path / "a.json", a_case())
    for email in ("one@north.example", "nobody@north.example"):
        assert command("import_cases", path, "--as", email).status == 1
        assert command("export_cases", "--out", tmp_path / "out.jsonl", "--as", email).status == 1
    assert not (tmp_path / "out.jsonl").exists()


def test_the_journal_names_who_imported(north: Site, tmp_path: Path) -> None:
    person = give_role("one@north.example", north, Role.OPERATOR, by=None)
    command("import_cases", as_json(tmp_path / "a.json", a_case()), "--as", person.email)
    entries = [
        read(entry.text) for entry in JournalEntry.objects.filter(what__startswith="case").order_by("id")
    ]
    assert [(entry["what"], entry["who"]) for entry in entries] == [
        ("case_created", person.code),
        ("cases_imported", person.code),
    ]


def test_one_case_and_many_leave_the_same_rows(north: Site, tmp_path: Path) -> None:
    south = add_site("south", "South", by=None)
    documents = [read((CASES / f"s{number}.json").read_bytes()) for number in range(1, 9)]
    for document in documents:
        submit_case(document | {"site": "north"}, by=None)
    command("import_cases", jsonl(tmp_path / "a.jsonl", [one | {"site": "south"} for one in documents]))
    assert rows_at(north) == rows_at(south)


def rows_at(site: Site) -> list[Any]:
    """The clear documents and every derived column of a site's cases, without keys."""
    cases = list(Case.objects.filter(site=site).order_by("document_id").values_list("pk", flat=True))
    clear = [{**document, "site": ""} for document in clear_documents(cases)]
    derived = [
        field.name for field in Action._meta.concrete_fields if not field.is_relation and field.name != "id"
    ]
    actions = Action.objects.filter(case__in=cases).order_by(
        "case__document_id", "complication__index", "position"
    )
    return [clear, list(actions.values_list(*derived))]


def test_flat_rows_make_the_cases_that_they_spell(north: Site, tmp_path: Path) -> None:
    path = tmp_path / "cases.csv"
    path.write_text(
        "site,id,date,age,complication,device_class,situation,ending,mechanisms,position,technique,aim,result,"
        "situation_after,minutes\n"
        "north,F-1,2026-02,71,C1,guidewire,wire_stuck,out_whole,calcium; angulation,1,steady_traction,free,"
        "unchanged,,4.5\n"
        "north,F-1,2026-02,71,C1,guidewire,wire_stuck,out_whole,calcium; angulation,2,microcatheter_to_trap,free,"
        "resolved,closed,unknown\n"
        "north,F-2,2026-03-01,,,guidewire,wire_stuck,unknown,,,,,,,\n"
    )
    assert command("import_cases", path).last == "created 2, unchanged 0, amended 0"
    first, second = exported()
    assert first["procedure"] == {"date": "2026-02"}
    assert first["patient"] == {"age": 71}
    assert first["complications"][0]["mechanisms"] == ["calcium", "angulation"]
    assert [action.get("minutes") for action in first["complications"][0]["actions"]] == [
        read("4.5"),
        "unknown",
    ]
    assert "actions" not in second["complications"][0]


def test_flat_rows_that_contradict_each_other_are_refused(north: Site, tmp_path: Path) -> None:
    path = tmp_path / "cases.csv"
    path.write_text(
        "site,id,date,device_class,situation,ending,position,technique\n"
        "north,F-1,2026-02-01,guidewire,wire_stuck,out_whole,1,echo\n"
        "north,F-1,2026-02-02,guidewire,wire_stuck,out_whole,2,echo\n"
    )
    outcome = command("import_cases", path)
    assert (outcome.status, "line 3: field date" in outcome.err) == (1, True)
    path.write_text("site,id\nnorth,F-1\n")
    assert "columns:" in command("import_cases", path).err
    path.write_bytes(b"site,id,date,device_class,situation,ending\n\xff\n")
    assert "UTF-8" in command("import_cases", path).err
    path.write_text("site,id,date,device_class,situation,ending\nnorth,F-1\n")
    assert "2 cells" in command("import_cases", path).err


def test_a_save_from_an_old_version_is_refused_and_named(north: Site) -> None:
    case = submit_case(a_case(), by=None)
    amend_case(case, a_case(narrative="first"), version=1, reason="", by=None)
    with pytest.raises(NotSaved, match="started from version 1, it is now at version 2"):
        amend_case(case, a_case(narrative="second"), version=1, reason="", by=None)


def test_saving_without_a_change_leaves_no_trace(north: Site) -> None:
    case = submit_case(a_case(), by=None)
    before = JournalEntry.objects.count()
    amend_case(case, a_case(), version=1, reason="", by=None)
    assert (JournalEntry.objects.count(), the_case().version) == (before, 1)


def test_a_lock_leaves_open_what_follows_the_case_and_nothing_else(north: Site) -> None:
    case = submit_case(a_case(a_ladder("wire_stuck:", ending="transferred_open")), by=None)
    case = set_state(case, CaseState.LOCKED, version=1, reason="", by=None, source=ON_A_PAGE)
    fate = a_case(
        a_ladder("wire_stuck:", ending="out_at_surgery", ended={"where": "elsewhere"}),
        duties=[{"kind": "tell_patient"}],
        outcome={"death": {"day": 9}},
    )
    case = amend_case(case, fate, version=2, reason="", by=None)
    assert (case.version, case.state) == (3, CaseState.LOCKED)
    with pytest.raises(NotSaved, match="locked"):
        amend_case(case, changed(fate, "narrative", "more"), version=3, reason="", by=None)


def test_no_identifying_text_stands_in_any_clear_column(north: Site) -> None:
    canary = "Zaphkiel-7731"
    document = json.loads(json.dumps(a_case()))
    document |= {"narrative": canary, "patient": {"local_reference": canary, "note": canary}}
    document["complications"][0] |= {"note": canary}
    document["complications"][0]["device"] |= {"serial": canary, "udi": canary, "note": canary}
    case = submit_case(document, by=None)
    from django.apps import apps

    for model in apps.get_models():
        for row in model._default_manager.all():
            assert canary not in " ".join(
                str(getattr(row, field.attname)) for field in model._meta.concrete_fields
            )
    assert exported() == [completed(document)]
    assert case.version == 1
