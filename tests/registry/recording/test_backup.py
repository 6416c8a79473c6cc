"""backup and restore: everything comes back as it was, or nothing is touched and a sentence says why."""

from __future__ import annotations

import base64
import errno
import gzip
import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from registry.access import opened_document, scope_of_command_line
from registry.models import Case, DataKey, Draft, Head, JournalEntry, Person, Site
from registry.recording import backing_up
from registry.recording.backup_format import CARRIED, columns_of, model_of
from registry.recording.cases import submit_case
from registry.recording.exports import export_lines
from registry.recording.sites import add_site
from registry.sealing import new_data_key
from registry.terms import CaseState
from tests.commands import command
from tests.registry.histories import a_patient, a_registry_with_a_past, in_a_thread, moved, the_case

pytestmark = [pytest.mark.data, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def list_of_erasures(settings, tmp_path: Path) -> Path:
    settings.ERASURES_FILE = str(tmp_path / "erasures.jsonl")
    return Path(settings.ERASURES_FILE)


def a_draft() -> Draft:
    wrapped, _ = new_data_key("DRAFT0001")
    DataKey.objects.create(
        id=wrapped.id, owner=wrapped.owner, wrapping_key=wrapped.wrapping_key, wrapped=wrapped.wrapped
    )
    return Draft.objects.create(
        code="DRAFT0001",
        site=Site.objects.get(code="north"),
        person=Person.objects.create(email="writer@example.org", code="WRITER001"),
        key=wrapped.id,
        sealed="typed",
        page="a page",
    )


@pytest.fixture
def past() -> None:
    a_registry_with_a_past()
    a_draft()


def emptied() -> None:
    call_command("flush", interactive=False, verbosity=0)


def everything() -> dict[str, list[tuple[Any, ...]]]:
    """Every carried table, row by row, as the database gives it."""
    return {
        label: list(model_of(label)._base_manager.order_by("pk").values_list(*columns_of(model_of(label))))
        for label in CARRIED
    }


def exported() -> list[str]:
    return list(export_lines(scope_of_command_line()))


def left() -> dict[str, int]:
    return {label: model_of(label)._base_manager.count() for label in CARRIED}


def backed_up(folder: Path) -> Path:
    path = folder / "the.backup"
    outcome = command("backup", path)
    assert outcome.status == 0, outcome.err
    assert outcome.last == str(Head.objects.get())
    return path


def test_everything_comes_back_to_the_last_byte(past: None, tmp_path: Path) -> None:
    before, documents, head = everything(), exported(), str(Head.objects.get())
    path = backed_up(tmp_path)
    emptied()
    outcome = command("restore", path)
    assert (outcome.status, outcome.last) == (0, head)
    assert everything() == before
    assert exported() == documents
    assert command("verify_history", "--witness", head).status == 0


def test_a_restored_registry_goes_on_where_it_was(past: None, tmp_path: Path) -> None:
    path = backed_up(tmp_path)
    emptied()
    command("restore", path)
    submit_case(a_patient("N-NEW", "NM 1"), by=None)
    moved("S1", CaseState.LOCKED)
    assert command("verify_history").status == 0


def test_a_backup_of_an_empty_registry_is_restored(tmp_path: Path) -> None:
    path = backed_up(tmp_path)
    registry = Head.objects.get().registry
    emptied()
    assert command("restore", path).last == "0:"
    assert Head.objects.get().registry == registry


def test_a_backup_holds_no_key_and_no_word_of_a_patient(past: None, settings, tmp_path: Path) -> None:
    text = gzip.decompress(backed_up(tmp_path).read_bytes())
    for setting in (settings.WRAPPING_KEYS, settings.CHAIN_KEYS, settings.LOOKUP_KEY):
        key = setting.rpartition(":")[2]
        assert key.encode() not in text
        assert base64.b64decode(key) not in text
    assert b"NM-448213" not in text
    assert b"test-wrapping" in text


def test_only_its_owner_can_read_a_backup_and_an_older_one_gives_way(past: None, tmp_path: Path) -> None:
    path = backed_up(tmp_path)
    moved("S1", CaseState.LOCKED)
    assert backed_up(tmp_path) == path
    assert path.stat().st_mode & 0o077 == 0
    assert [file.name for file in tmp_path.iterdir()] == ["the.backup"]


def test_a_save_during_a_backup_neither_waits_nor_gets_into_it(
    past: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = backing_up._heading

    def heading(head: Head) -> dict[str, Any]:
        in_a_thread(lambda: moved("S1", CaseState.LOCKED))
        return real(head)

    before = everything()
    monkeypatch.setattr(backing_up, "_heading", heading)
    assert command("backup", tmp_path / "the.backup").status == 0
    assert the_case("S1").state == CaseState.LOCKED
    emptied()
    command("restore", tmp_path / "the.backup")
    assert everything() == before


def lines_of(path: Path) -> list[bytes]:
    return gzip.decompress(path.read_bytes()).splitlines(keepends=True)


def rewritten(path: Path, lines: list[bytes]) -> None:
    path.write_bytes(gzip.compress(b"".join(lines)))


def closed_anew(path: Path, change: Callable[[list[bytes]], list[bytes]]) -> None:
    """The file changed by somebody who also makes its closing line anew."""
    *lines, end = lines_of(path)
    lines = change(lines)
    closing = json.loads(end) | {"sha256": hashlib.sha256(b"".join(lines)).hexdigest()}
    rewritten(path, [*lines, json.dumps(closing).encode() + b"\n"])


def replaced(old: bytes, new: bytes) -> Callable[[list[bytes]], list[bytes]]:
    return lambda lines: b"".join(lines).replace(old, new).splitlines(keepends=True)


SPOILT: dict[str, tuple[Callable[[Path], object], str]] = {
    "cut within the file": (lambda path: path.write_bytes(path.read_bytes()[:-2000]), "is cut short"),
    "cut between two lines": (lambda path: rewritten(path, lines_of(path)[:-1]), "closing line is missing"),
    "a byte changed": (
        lambda path: path.write_bytes(path.read_bytes()[:3000] + b"\0\0\0\0" + path.read_bytes()[3004:]),
        "is damaged",
    ),
    "a line removed": (lambda path: rewritten(path, [*lines_of(path)[:40], *lines_of(path)[41:]]), "is damaged"),
    "a value changed": (
        lambda path: rewritten(path, replaced(b'"wire_stuck"', b'"tip_broken"')(lines_of(path))),
        "is damaged",
    ),
    "something after its end": (lambda path: rewritten(path, [*lines_of(path), b"[1]\n"]), "is damaged"),
    "an empty file": (lambda path: path.write_bytes(b""), "is not a backup"),
    "a text": (lambda path: path.write_text("site,id\n"), "is not a backup"),
    "another gzip file": (lambda path: path.write_bytes(gzip.compress(b'{"id": "N-1"}\n')), "is not a backup"),
    "a later form": (lambda path: closed_anew(path, replaced(b'"format":1', b'"format":2')), "has the form 2"),
    "other columns": (
        lambda path: closed_anew(path, replaced(b'"situation_faced"', b'"situation_met"')),
        "another version of the program: the table registry.Action differs",
    ),
    "an entry less than its heading says": (
        lambda path: closed_anew(path, replaced(b'"head":"1', b'"head":"2')),
        "says that it ends at entry",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", SPOILT)
def test_a_file_that_is_not_a_whole_backup_is_a_sentence_and_changes_nothing(
    past: None, tmp_path: Path, what: str
) -> None:
    spoil, words = SPOILT[what]
    path = backed_up(tmp_path)
    spoil(path)
    emptied()
    before = everything()
    outcome = command("restore", path)
    assert outcome.status == 1
    assert words in outcome.err
    assert everything() == before
    assert command("verify_history").status == 0


def test_rows_that_do_not_fit_together_change_nothing(past: None, tmp_path: Path) -> None:
    path = backed_up(tmp_path)
    site = Site.objects.get(code="harbour").pk

    def without_a_site(lines: list[bytes]) -> list[bytes]:
        return [line for line in lines if not line.startswith(f'[{site},"harbour"'.encode())]

    *lines, end = lines_of(path)
    lines = without_a_site(lines)
    closing = json.loads(end)
    closing["end"]["registry.Site"] -= 1
    closing["sha256"] = hashlib.sha256(b"".join(lines)).hexdigest()
    rewritten(path, [*lines, json.dumps(closing).encode() + b"\n"])
    emptied()
    before = everything()
    outcome = command("restore", path)
    assert outcome.status == 1
    assert "does not fit together" in outcome.err
    assert everything() == before
    assert command("verify_history").status == 0


@pytest.mark.parametrize("with_a_site_only", [True, False])
def test_a_registry_that_is_in_use_is_not_overwritten(
    past: None, tmp_path: Path, with_a_site_only: bool
) -> None:
    path = backed_up(tmp_path)
    emptied()
    if with_a_site_only:
        Site.objects.create(code="other", name="Other")
    else:
        add_site("other", "Other", by=None)
    before = everything()
    outcome = command("restore", path)
    assert outcome.status == 1
    assert "only into an empty one" in outcome.err
    assert everything() == before


@pytest.mark.parametrize(
    ("setting", "key"), [("WRAPPING_KEYS", "test-wrapping"), ("CHAIN_KEYS", "test-chain")]
)
@pytest.mark.parametrize("how", ["not set", "under another name", "another of the same name"])
def test_a_key_that_is_missing_or_another_is_named(
    past: None, settings, tmp_path: Path, setting: str, key: str, how: str
) -> None:
    path = backed_up(tmp_path)
    emptied()
    before = left()
    other = base64.b64encode(b"o" * 32).decode()
    values = {
        "not set": "",
        "under another name": getattr(settings, setting).replace(key, "other"),
        "another of the same name": f"{key}:{other}",
    }
    setattr(settings, setting, values[how])
    outcome = command("restore", path)
    assert outcome.status == 1
    assert key in outcome.err
    assert left() == before


def test_another_look_up_key_is_refused(past: None, settings, tmp_path: Path) -> None:
    path = backed_up(tmp_path)
    emptied()
    before = left()
    settings.LOOKUP_KEY = base64.b64encode(b"o" * 32).decode()
    outcome = command("restore", path)
    assert outcome.status == 1
    assert "LOOKUP_KEY" in outcome.err
    assert left() == before


def erase(document_id: str) -> None:
    assert command("erase_patient", "--site", "north", "--id", document_id).status == 0


def test_who_was_erased_after_the_backup_is_erased_again(past: None, tmp_path: Path) -> None:
    code = the_case("S1").code
    path = backed_up(tmp_path)
    erase("S1")
    emptied()
    outcome = command("restore", path)
    assert outcome.status == 0
    assert "erased again 1 cases" in outcome.out
    assert the_case("S1").erased
    assert not DataKey.objects.filter(owner=code).exists()
    document: Any = opened_document(the_case("S3"))
    assert document["patient"]["local_reference"] == "NM-451907"
    assert JournalEntry.objects.latest("pk").what == "case_erased"
    assert command("verify_history", "--witness", outcome.last).status == 0


def test_who_was_erased_before_the_backup_stays_erased_and_nothing_is_journalled(
    past: None, tmp_path: Path
) -> None:
    erase("S1")
    before = everything()
    path = backed_up(tmp_path)
    emptied()
    assert command("restore", path).status == 0
    assert everything() == before


def test_a_draft_that_was_erased_does_not_come_back(past: None, tmp_path: Path) -> None:
    path = backed_up(tmp_path)
    Draft.objects.update(case=the_case("S1"))
    erase("S1")
    emptied()
    command("restore", path)
    assert not Draft.objects.exists()
    assert not DataKey.objects.filter(owner="DRAFT0001").exists()


def test_an_erasure_in_another_registry_changes_nothing(
    past: None, tmp_path: Path, list_of_erasures: Path
) -> None:
    path = backed_up(tmp_path)
    erase("S1")
    line = json.loads(list_of_erasures.read_text()) | {"registry": "00000000-0000-4000-8000-000000000000"}
    list_of_erasures.write_text(json.dumps(line) + "\n")
    emptied()
    command("restore", path)
    assert not Case.objects.filter(erased=True).exists()


def test_a_missing_list_of_erasures_is_said(past: None, tmp_path: Path) -> None:
    path = backed_up(tmp_path)
    emptied()
    assert "There is no list of erasures" in command("restore", path).err


def test_a_list_of_erasures_that_cannot_be_read_stops_the_restore(
    past: None, tmp_path: Path, list_of_erasures: Path
) -> None:
    path = backed_up(tmp_path)
    emptied()
    list_of_erasures.write_text('{"registry": "x", "cases": [], "drafts": []}\n{"regis')
    outcome = command("restore", path)
    assert outcome.status == 1
    assert "line 2 of the list of erasures" in outcome.err
    assert not Site.objects.exists()


def test_a_folder_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    outcome = command("backup", tmp_path / "nowhere" / "the.backup")
    assert (outcome.status, "there is no folder" in outcome.err) == (1, True)


def test_a_folder_or_a_device_is_never_replaced_by_a_backup(tmp_path: Path) -> None:
    for path in (tmp_path, Path("/dev/null")):
        outcome = command("backup", path)
        assert (outcome.status, "is not a file" in outcome.err) == (1, True)
    assert not Path("/dev/null").is_file()


def test_a_disk_that_is_full_is_a_sentence_and_leaves_the_older_backup(
    past: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = backed_up(tmp_path)
    before = path.read_bytes()

    def full(_: str) -> Any:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(backing_up, "_rows", full)
    outcome = command("backup", path)
    assert (outcome.status, "No space left on device" in outcome.err) == (1, True)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    assert command("restore", tmp_path / "nothing").status == 1
