"""A backup of one engine restored into another: from a shell, as an administrator would, in registries of their own."""

from __future__ import annotations

import base64
import os
import subprocess
import sys
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.db import connection

from tests.commands import jsonl
from tests.registry.histories import documents

pytestmark = [pytest.mark.data, pytest.mark.django_db(transaction=True)]

ROOT = Path(__file__).parents[3]
SERVER = os.environ.get("TEST_DATABASE_URL", "")
BETWEEN = [("sqlite", "postgresql"), ("postgresql", "sqlite")] if SERVER else [("sqlite", "sqlite")]
KEYS = {
    name: f"{first}{base64.b64encode(letter * 32).decode()}"
    for name, first, letter in (
        ("WRAPPING_KEYS", "w1:", b"W"),
        ("CHAIN_KEYS", "c1:", b"C"),
        ("LOOKUP_KEY", "", b"L"),
    )
}


@dataclass(frozen=True)
class Installation:
    """A registry with its own run-time folder and database, and commands run in it."""

    folder: Path
    database_url: str

    def run(self, *words: str | Path) -> str:
        """What a command printed; it must succeed."""
        done = subprocess.run(
            [sys.executable, "manage.py", *map(str, words)],
            cwd=ROOT,
            env={**os.environ, **KEYS, "VAR_DIR": str(self.folder), "DATABASE_URL": self.database_url},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout


@contextmanager
def an_installation(engine: str, folder: Path) -> Iterator[Installation]:
    """A registry that has no tables yet; a database of its own on the server where that is PostgreSQL."""
    folder.mkdir()
    if engine == "sqlite":
        yield Installation(folder, "")
        return
    name = f"scratch_{uuid.uuid4().hex}"
    address = urlsplit(SERVER)
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE DATABASE {name}")
    try:
        yield Installation(folder, address._replace(path=f"/{name}").geturl())
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f"DROP DATABASE {name} WITH (FORCE)")


def cases_at(site: str) -> list[dict[str, Any]]:
    return [document for document in documents() if document["site"] == site]


@pytest.mark.parametrize(("source", "target"), BETWEEN)
def test_the_same_bytes_come_out_and_the_history_is_whole(source: str, target: str, tmp_path: Path) -> None:
    with (
        an_installation(source, tmp_path / "one") as one,
        an_installation(target, tmp_path / "other") as other,
    ):
        one.run("set_up", "--site", "north", "--name", "North", "--admin", "admin@example.org")
        one.run("import_cases", jsonl(tmp_path / "cases.jsonl", cases_at("north")))
        one.run("erase_patient", "--site", "north", "--id", "S3")
        head = one.run("backup", tmp_path / "the.backup").splitlines()[-1]
        one.run("export_cases", "--out", tmp_path / "one.jsonl")
        assert other.run("restore", tmp_path / "the.backup").splitlines()[-1] == head
        other.run("export_cases", "--out", tmp_path / "other.jsonl")
        assert (tmp_path / "other.jsonl").read_bytes() == (tmp_path / "one.jsonl").read_bytes()
        other.run("verify_history", "--witness", head)
