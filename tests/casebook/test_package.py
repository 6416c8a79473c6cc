"""The folder of a release: put in place whole, and verified by its manifest."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from casebook.disclosure import ReleaseRefused
from casebook.package import (
    MANIFEST,
    PackageBroken,
    digest_of,
    folder_in_place,
    verified,
    write_csv,
    write_json,
    write_manifest,
)
from tests.commands import command

pytestmark = pytest.mark.pure


@pytest.fixture
def package(tmp_path: Path) -> Path:
    """A release of two files."""
    with folder_in_place(tmp_path / "release") as folder:
        write_csv(folder / "cases.csv", ["case", "note"], [["P1", "a, b"]])
        write_json(folder / "disclosure.json", {"k": 5})
        write_manifest(folder, {"schema": 1})
    return tmp_path / "release"


def test_a_whole_release_is_verified(package: Path) -> None:
    assert verified(package) == (2, digest_of(package / MANIFEST))
    outcome = command("verify_release", package)
    assert (outcome.status, outcome.last) == (0, f"manifest {digest_of(package / MANIFEST)}")


def changed(package: Path) -> None:
    with (package / "cases.csv").open("a") as file:
        file.write(" ")


def missing(package: Path) -> None:
    (package / "disclosure.json").unlink()


def added(package: Path) -> None:
    (package / "notes.txt").write_text("")


def folder_added(package: Path) -> None:
    (package / "more").mkdir()


def linked(package: Path) -> None:
    (package / "cases.csv").rename(package.parent / "cases.csv")
    (package / "cases.csv").symlink_to(package.parent / "cases.csv")


def without_manifest(package: Path) -> None:
    (package / MANIFEST).unlink()


def with_manifest(text: str | bytes) -> Callable[[Path], None]:
    def spoil(package: Path) -> None:
        (package / MANIFEST).write_bytes(text if isinstance(text, bytes) else text.encode())

    return spoil


def leading_out(package: Path) -> None:
    hashes = {"../cases.csv": digest_of(package / "cases.csv")}
    (package / MANIFEST).write_text(json.dumps({"files": hashes}))


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (changed, "cases.csv has been changed"),
        (missing, "disclosure.json is missing"),
        (added, "notes.txt has been added"),
        (folder_added, "more has been added"),
        (linked, "cases.csv is missing"),
        (without_manifest, "manifest.json is missing"),
        pytest.param(with_manifest("{"), "manifest.json cannot be read", id="half an object"),
        pytest.param(with_manifest(b"\xff\xfe"), "manifest.json cannot be read", id="not text"),
        pytest.param(with_manifest("[]"), "manifest.json cannot be read", id="a list"),
        pytest.param(
            with_manifest('{"files": ["cases.csv"]}'), "manifest.json cannot be read", id="no hashes"
        ),
        pytest.param(with_manifest("[" * 100_000), "manifest.json cannot be read", id="nested too deep"),
        (with_manifest('{"files": {}}'), "names no file"),
        (leading_out, "is no file of this folder"),
    ],
)
def test_what_differs_is_named(package: Path, spoil: Callable[[Path], None], message: str) -> None:
    spoil(package)
    with pytest.raises(PackageBroken, match=message):
        verified(package)
    outcome = command("verify_release", package)
    assert outcome.status == 1
    assert message in outcome.err


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    assert "there is no folder" in command("verify_release", tmp_path / "nowhere").err


def test_each_byte_of_each_file_counts(package: Path) -> None:
    for file in ("cases.csv", "disclosure.json"):
        whole = (package / file).read_bytes()
        for place in range(len(whole)):
            (package / file).write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
            with pytest.raises(PackageBroken):
                verified(package)
        (package / file).write_bytes(whole)
    assert verified(package)[0] == 2


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    (tmp_path / "release").mkdir()
    with folder_in_place(tmp_path / "release") as folder:
        (folder / "one").write_text("1")
    assert (tmp_path / "release" / "one").read_text() == "1"


def test_nothing_is_left_of_what_went_wrong(tmp_path: Path) -> None:
    with pytest.raises(KeyError), folder_in_place(tmp_path / "release") as folder:
        (folder / "one").write_text("1")
        raise KeyError
    assert list(tmp_path.iterdir()) == []


def test_the_folder_is_not_there_before_it_is_whole(tmp_path: Path) -> None:
    with folder_in_place(tmp_path / "release"):
        assert not (tmp_path / "release").exists()


def file_there(path: Path) -> None:
    path.write_text("kept")


def filled_folder_there(path: Path) -> None:
    path.mkdir()
    (path / "kept").write_text("kept")


def broken_link_there(path: Path) -> None:
    path.symlink_to(path.parent / "nowhere")


@pytest.mark.parametrize("put", [file_there, filled_folder_there, broken_link_there])
def test_nothing_that_is_there_is_written_over(tmp_path: Path, put: Callable[[Path], None]) -> None:
    put(tmp_path / "release")
    with pytest.raises(ReleaseRefused, match="is there already"), folder_in_place(tmp_path / "release"):
        pass
    assert len(list(tmp_path.iterdir())) == 1


def test_what_came_meanwhile_is_not_written_over(tmp_path: Path) -> None:
    with pytest.raises(ReleaseRefused, match="cannot be written"), folder_in_place(tmp_path / "release"):
        filled_folder_there(tmp_path / "release")
    assert (tmp_path / "release" / "kept").read_text() == "kept"


def test_a_folder_that_is_missing_above_is_named(tmp_path: Path) -> None:
    with (
        pytest.raises(ReleaseRefused, match="there is no folder"),
        folder_in_place(tmp_path / "no" / "release"),
    ):
        pass
