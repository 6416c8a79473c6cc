"""A release as a folder of files: put in place whole, described by its manifest, and verified by it; no query."""

from __future__ import annotations

import csv
import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from casebook.disclosure import ReleaseRefused

MANIFEST = "manifest.json"
_FILES = "files"
_BLOCK = 1 << 20


class PackageBroken(Exception):
    """A release is not what its manifest says; the message names the first difference."""


@contextmanager
def folder_in_place(path: Path) -> Iterator[Path]:
    """A folder to fill, which takes its name only when all went well; readable by its owner.

    ReleaseRefused where there is something at `path` already, no folder to put it in, or no way to write there.
    """
    path = path.absolute()
    if path.is_symlink() or (path.exists() and not (path.is_dir() and not any(path.iterdir()))):
        raise ReleaseRefused(f"{path} is there already; a release is written to a new or empty folder")
    if not path.parent.is_dir():
        raise ReleaseRefused(f"there is no folder {path.parent} to write {path.name} into")
    beside = None
    try:
        beside = Path(tempfile.mkdtemp(dir=path.parent, prefix=f".{path.name}."))
        yield beside
        beside.rename(path)
    except OSError as error:
        raise ReleaseRefused(f"{path} cannot be written: {error.strerror}") from None
    finally:
        if beside is not None and beside.exists():
            shutil.rmtree(beside, ignore_errors=True)


def write_csv(path: Path, heading: Iterable[str], rows: Iterable[Iterable[str]]) -> None:
    """A CSV file: UTF-8, commas, lines ended by a line feed."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(heading)
        writer.writerows(rows)


def write_json(path: Path, value: Mapping[str, Any]) -> None:
    """A JSON file in one fixed form: keys in order, two spaces."""
    text = json.dumps(value, ensure_ascii=False, indent=2, sort_keys=True)
    path.write_text(text + "\n", encoding="utf-8")


def write_manifest(folder: Path, described: Mapping[str, Any]) -> str:
    """The manifest over all files that are in the folder; returns its own SHA-256, which stands in the receipt.

    Afterwards the whole folder is on the disk.
    """
    hashes = {file.name: digest_of(file) for file in sorted(folder.iterdir())}
    write_json(folder / MANIFEST, {**described, _FILES: hashes})
    for path in (*folder.iterdir(), folder):
        _on_disk(path)
    return digest_of(folder / MANIFEST)


def _on_disk(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def digest_of(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal."""
    running = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            running.update(block)
    return running.hexdigest()


def verified(folder: Path) -> tuple[int, str]:
    """How many files match the manifest, and the manifest's own SHA-256; PackageBroken names the first difference."""
    if not folder.is_dir():
        raise PackageBroken(f"there is no folder {folder}")
    listed = _listed(folder / MANIFEST)
    for name, digest in sorted(listed.items()):
        file = folder / name
        if file.is_symlink() or not file.is_file():
            raise PackageBroken(f"{name} is missing")
        if digest_of(file) != digest:
            raise PackageBroken(f"{name} has been changed: its SHA-256 is not the one in the manifest")
    for file in sorted(folder.iterdir()):
        if file.name != MANIFEST and file.name not in listed:
            raise PackageBroken(f"{file.name} has been added: the manifest doesn't name it")
    return len(listed), digest_of(folder / MANIFEST)


def _listed(manifest: Path) -> dict[str, str]:
    """The hashes of a manifest by file; names that lead out of the folder are no names."""
    if manifest.is_symlink() or not manifest.is_file():
        raise PackageBroken(f"{MANIFEST} is missing")
    try:
        read = json.loads(manifest.read_text(encoding="utf-8"))
        listed = read[_FILES]
        named = {name: str(digest) for name, digest in listed.items()}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise PackageBroken(f"{MANIFEST} cannot be read as the manifest of a release") from None
    for name in named:
        if Path(name).name != name or name in ("", ".", "..", MANIFEST) or "\0" in name or "\\" in name:
            raise PackageBroken(f"{MANIFEST} names {name!r}, which is no file of this folder")
    if not named:
        raise PackageBroken(f"{MANIFEST} names no file")
    return named
