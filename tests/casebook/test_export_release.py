"""Making a release by the command: who may, which files leave, what stays inside, and what is refused."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from casebook import package, recording
from casebook.disclosure import Disclosure, judged, period_of
from casebook.models import DataRelease
from casebook.recording import make_release
from casebook.tables import TABLES
from registry.access import NotAllowed, registry_id
from registry.canonical import read
from registry.deidentify import reading
from registry.deidentify.field_policy import LET_GO
from registry.deidentify.pseudonyms import Pseudonyms
from registry.documents import row_reading
from registry.models import Case, DataKey, Head, JournalEntry, Membership, Person, Site
from registry.recording.cases import BY_COMMAND, amend_case, set_state
from registry.recording.imports import Manner, Source, import_documents
from registry.recording.sites import add_site, give_role
from registry.sealing import Wrapped, unseal, unwrap
from registry.terms import COUNTED_STATES, CaseState, Role
from tests.builders import TODAY, Document, a_case, a_ladder
from tests.commands import Outcome, command

pytestmark = [pytest.mark.data, pytest.mark.django_db]

OFFICER = "officer@example.org"
PURPOSE = "yearly audit for the board"


def cases(number: int, site: str = "north", **more: Any) -> list[Document]:
    """So many cases of one class."""
    ladder = a_ladder("wire_stuck: steady_traction=unchanged, microcatheter_to_trap=resolved")
    return [
        a_case(ladder, **{"id": f"{site}-{each}", "site": site, "procedure": {"date": "2025-03-14"}, **more})
        for each in range(number)
    ]


def take(*documents: Document) -> None:
    sources = [Source(str(number), one) for number, one in enumerate(documents)]
    import_documents(sources, manner=Manner(), by=None, warn=lambda line: None)


@pytest.fixture
def north(db: None) -> Site:
    """A site with six cases and a quality officer."""
    site = add_site("north", "North", by=None)
    give_role(OFFICER, site, Role.QUALITY_OFFICER, by=None)
    take(*cases(6))
    return site


def export(folder: Path, *more: str | Path, **other: str) -> Outcome:
    """The command with what it needs, and with what a test gives in another way."""
    options = {
        "site": "north",
        "since": "2025-01",
        "until": "2025-12",
        "purpose": PURPOSE,
        "out": str(folder / "release"),
        "as": OFFICER,
        **other,
    }
    words = [word for name, value in options.items() for word in (f"--{name}", value)]
    return command("export_release", *words, *more)


def in_file(folder: Path, name: str) -> Any:
    return json.loads((folder / "release" / name).read_text(encoding="utf-8"))


def released_cases(folder: Path) -> list[dict[str, str]]:
    with (folder / "release" / "cases.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_a_release_holds_its_tables_codebook_manifest_and_disclosure_report(
    north: Site, tmp_path: Path
) -> None:
    outcome = export(tmp_path)
    assert outcome.status == 0, outcome.err
    names = {file.name for file in (tmp_path / "release").iterdir()}
    assert names == {f"{table}.csv" for table in TABLES} | {
        "codebook.csv",
        "manifest.json",
        "disclosure.json",
    }
    assert len(released_cases(tmp_path)) == 6
    assert command("verify_release", tmp_path / "release").status == 0


def test_the_manifest_is_coarse(north: Site, tmp_path: Path) -> None:
    export(tmp_path, until="2026-06")
    manifest = in_file(tmp_path, "manifest.json")
    assert manifest["years"] == [2025, 2026]
    assert set(manifest) == {
        "schema",
        "release",
        "made",
        "years",
        "rows",
        "files",
        "policy",
        "vocabulary",
        "k",
        "cautions",
    }
    assert manifest["made"] == f"{DataRelease.objects.get().made_at:%Y-%m}"
    assert manifest["rows"]["actions.csv"] == 12
    everything = "".join(
        file.read_text(encoding="utf-8") for file in (tmp_path / "release").iterdir()
    ).lower()
    for word in ("board", "north", "officer", "example.org", Person.objects.get().code.lower()):
        assert word not in everything


def test_every_release_carries_its_cautions(north: Site, tmp_path: Path) -> None:
    export(tmp_path)
    said = " ".join(in_file(tmp_path, "manifest.json")["cautions"])
    assert "not why" in said
    assert "meets the rule stated in it" in said
    assert "Colleagues may still recognise a rare case" in in_file(tmp_path, "disclosure.json")["statement"]


def test_the_last_line_is_the_journals_head_and_a_line_before_the_manifests_hash(
    north: Site, tmp_path: Path
) -> None:
    outcome = export(tmp_path)
    manifest = package.digest_of(tmp_path / "release" / "manifest.json")
    assert outcome.last == str(Head.objects.get())
    assert f"manifest {manifest}" in outcome.out
    assert DataRelease.objects.get().manifest == manifest


def test_the_journal_has_an_entry_of_codes_and_numbers(north: Site, tmp_path: Path) -> None:
    before = str(Head.objects.get())
    export(tmp_path)
    entry = JournalEntry.objects.latest("id")
    release = DataRelease.objects.get()
    text = read(entry.text)
    assert (entry.what, text["who"]) == ("release_made", Person.objects.get().code)
    assert text["particulars"] == {
        "release": release.code,
        "sites": ["north"],
        "cases": 6,
        "manifest": release.manifest,
    }
    assert release.head == before


def test_purpose_and_pseudonym_key_are_sealed_and_can_be_opened_inside(north: Site, tmp_path: Path) -> None:
    export(tmp_path)
    release = DataRelease.objects.get()
    shown = " ".join(str(getattr(release, field.name)) for field in release._meta.concrete_fields)
    assert "board" not in shown
    row = DataKey.objects.get(pk=release.key)
    key = unwrap(Wrapped(row.id, row.owner, row.wrapping_key, row.wrapped))
    opened = unseal(release.sealed, key, registry_id(), release.code, recording.SEALED_AS)
    assert opened["purpose"] == PURPOSE
    pseudonyms = Pseudonyms(bytes.fromhex(opened["pseudonyms"]))
    there = {pseudonyms.of_case(code) for code in Case.objects.values_list("code", flat=True)}
    assert {row["case"] for row in released_cases(tmp_path)} == there


def test_the_receipt_keeps_the_figures_of_the_rule(north: Site, tmp_path: Path) -> None:
    take(*cases(1, id="young", patient={"age": 15}))
    export(tmp_path)
    release = DataRelease.objects.get()
    assert (release.considered, release.released, release.suppressed) == (7, 6, 1)
    assert (release.smallest_class, release.smallest_class_reached) == (5, 6)
    assert (release.sites, str(release.since), str(release.until)) == ("north", "2025-01-01", "2025-12-31")


@pytest.mark.parametrize("role", [Role.QUALITY_OFFICER, Role.ADMINISTRATOR])
def test_quality_officers_and_administrators_may_release(north: Site, tmp_path: Path, role: Role) -> None:
    Membership.objects.update(role=role)
    assert export(tmp_path).status == 0


@pytest.mark.parametrize("role", [Role.OPERATOR, Role.NURSE_OR_FELLOW, Role.PRESENTER, Role.LAB_DIRECTOR])
def test_others_may_not(north: Site, tmp_path: Path, role: Role) -> None:
    Membership.objects.update(role=role)
    outcome = export(tmp_path)
    assert outcome.status == 1
    assert "is not administrator or quality officer at the site north" in outcome.err
    assert not (tmp_path / "release").exists()


def test_the_right_is_needed_at_every_site(north: Site, tmp_path: Path) -> None:
    add_site("harbour", "Harbour", by=None)
    outcome = export(tmp_path, "--site", "harbour")
    assert outcome.status == 1
    assert "at the site harbour" in outcome.err


def test_nobody_known_is_refused(north: Site, tmp_path: Path) -> None:
    outcome = export(tmp_path, **{"as": "stranger@example.org"})
    assert (outcome.status, "is not an active member" in outcome.err) == (1, True)


def test_the_writer_asks_for_the_right_itself(north: Site, tmp_path: Path) -> None:
    operator = give_role("operator@example.org", north, Role.OPERATOR, by=None)
    period = period_of("2025", "2025", TODAY)
    with pytest.raises(NotAllowed):
        make_release(tmp_path / "release", sites=[north], period=period, purpose=PURPOSE, by=operator)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("other", "message"),
    [
        ({"purpose": "  "}, "needs its purpose"),
        ({"purpose": "half \udc80"}, "needs its purpose"),
        ({"until": "2025-06"}, "too narrow"),
        ({"since": "2025-01-02", "until": "2026-12"}, "not of whole months"),
        ({"since": "soon"}, "not a date"),
        ({"site": "nowhere"}, "there is no site 'nowhere' here"),
        ({"format": "csv,xlsx"}, "writes releases as csv, not as xlsx"),
        ({"format": "parquet"}, "writes releases as csv, not as parquet"),
        ({"format": "fhir"}, "writes releases as csv, not as fhir"),
        ({"format": ","}, "writes releases as csv, not as nothing"),
        ({"since": "2019-01", "until": "2020-12"}, "no case"),
    ],
)
def test_what_is_refused_is_said_and_leaves_nothing(
    north: Site, tmp_path: Path, other: dict[str, str], message: str
) -> None:
    outcome = export(tmp_path, **other)
    assert outcome.status == 1
    assert message in outcome.err
    assert list(tmp_path.iterdir()) == []
    assert not DataRelease.objects.exists()


@pytest.mark.parametrize("missing", ["site", "since", "until", "purpose", "out", "as"])
def test_what_is_left_out_is_bad_usage(db: None, tmp_path: Path, missing: str) -> None:
    words = {"site": "north", "since": "2025", "until": "2025", "purpose": "p", "out": "o", "as": OFFICER}
    del words[missing]
    outcome = command("export_release", *[word for name in words for word in (f"--{name}", words[name])])
    assert outcome.status == 2


def test_more_than_one_in_five_suppressed_is_no_release(north: Site, tmp_path: Path) -> None:
    take(*cases(2, id="young", patient={"age": 15})[:1], *cases(1, id="old", patient={"age": 90}))
    outcome = export(tmp_path)
    assert "2 of 8 cases have fewer than 5" in outcome.err
    assert list(tmp_path.iterdir()) == []


def test_of_several_sites_the_largest_k_counts(north: Site, tmp_path: Path) -> None:
    harbour = add_site("harbour", "Harbour", by=None)
    give_role(OFFICER, harbour, Role.QUALITY_OFFICER, by=None)
    take(*cases(7, site="harbour"))
    Site.objects.filter(code="harbour").update(smallest_class=7)
    outcome = export(tmp_path, "--site", "harbour")
    assert "6 of 13 cases have fewer than 7" in outcome.err
    Site.objects.filter(code="harbour").update(smallest_class=6)
    assert export(tmp_path, "--site", "harbour").status == 0
    assert DataRelease.objects.get().smallest_class == 6
    assert len({row["site"] for row in released_cases(tmp_path)}) == 2


def test_withdrawn_cases_do_not_leave_and_locked_ones_do(north: Site, tmp_path: Path) -> None:
    for number, state in ((0, CaseState.WITHDRAWN), (1, CaseState.LOCKED)):
        case = Case.objects.select_related("site").get(document_id=f"north-{number}")
        set_state(case, state, version=1, reason="as agreed", by=None, source=BY_COMMAND)
    assert export(tmp_path).status == 0
    assert len(released_cases(tmp_path)) == 5


@pytest.mark.parametrize(("since", "until"), [("2025-03", "2026-03"), ("2024-06", "2025-05")])
def test_a_case_whose_date_may_lie_outside_the_period_is_left_out_and_counted(
    north: Site, tmp_path: Path, since: str, until: str
) -> None:
    take(
        *cases(1, id="year", procedure={"date": "2025"}), *cases(1, id="month", procedure={"date": "2025-04"})
    )
    assert export(tmp_path, since=since, until=until).status == 0
    assert len(released_cases(tmp_path)) == 7
    left_out = in_file(tmp_path, "disclosure.json")["cases"]["left_out_before"]
    assert left_out == {"date_too_roughly_known_for_the_period": 1}


def test_a_folder_that_holds_something_is_left_alone(north: Site, tmp_path: Path) -> None:
    (tmp_path / "release").mkdir()
    (tmp_path / "release" / "mine").write_text("mine")
    outcome = export(tmp_path)
    assert (outcome.status, "is there already" in outcome.err) == (1, True)
    assert [file.name for file in (tmp_path / "release").iterdir()] == ["mine"]


def test_what_breaks_off_leaves_neither_folder_nor_receipt(
    north: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("casebook.release.write_manifest", full)
    outcome = export(tmp_path)
    assert (outcome.status, "No space left on device" in outcome.err) == (1, True)
    assert list(tmp_path.iterdir()) == []
    assert not DataRelease.objects.exists()


def test_a_release_that_the_journal_does_not_hold_is_not_put_in_place(
    north: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refusing(*_: object, **__: object) -> None:
        raise recording.ReleaseRefused("no")

    monkeypatch.setattr(recording, "recorded", refusing)
    assert export(tmp_path).status == 1
    assert list(tmp_path.iterdir()) == []


def given_an_age(case: Case) -> None:
    document = cases(6, patient={"age": 95})[3]
    amend_case(case, document, version=1, reason="age was missing", by=None)


def withdrawn(case: Case) -> None:
    set_state(case, CaseState.WITHDRAWN, version=1, reason="entered twice", by=None, source=BY_COMMAND)


@pytest.mark.parametrize("change", [given_an_age, withdrawn])
def test_a_case_that_changes_while_the_release_is_made_stops_it(
    north: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: Callable[[Case], None]
) -> None:
    def judged_and_then_changed(*arguments: Any) -> Disclosure:
        found = judged(*arguments)
        change(Case.objects.select_related("site").get(document_id="north-3"))
        return found

    monkeypatch.setattr("casebook.release.judged", judged_and_then_changed)
    outcome = export(tmp_path)
    assert "were changed while the release was made" in outcome.err
    assert list(tmp_path.iterdir()) == []


def changed_between_two_statements(
    monkeypatch: pytest.MonkeyPatch, change: Callable[[Case], None]
) -> list[Document]:
    """What is read of six cases of which one is changed after its own row was read and before its other rows."""
    read_rows = row_reading._rows
    waiting = list(Case.objects.select_related("site").filter(document_id="north-3"))

    def changed_in_between(*arguments: Any) -> Any:
        if waiting:
            change(waiting.pop())
        return read_rows(*arguments)

    monkeypatch.setattr(row_reading, "_rows", changed_in_between)
    inside = Case.objects.filter(state__in=COUNTED_STATES)
    keys = list(Case.objects.values_list("pk", flat=True))
    return [case.document for _, case in reading.settled(inside, keys, LET_GO)]


def test_a_case_that_changes_between_two_statements_is_read_again(
    north: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The rows of one version only."""
    documents = changed_between_two_statements(monkeypatch, given_an_age)
    ages = [document.get("patient", {}).get("age") for document in documents]
    assert sorted(ages, key=str) == [95, None, None, None, None, None]


def test_a_case_that_is_withdrawn_between_two_statements_is_not_read(
    north: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert len(changed_between_two_statements(monkeypatch, withdrawn)) == 5
