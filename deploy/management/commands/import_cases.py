"""Importing case documents from a file."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.db import connection

from deploy.commands import Refusal, RegistryCommand, existing_file, rows_of_csv, tally_line
from deploy.local_settings import ensure_keys
from registry.access import MAY_WRITE, person_acting
from registry.case_fields import DOCUMENT_BYTES
from registry.documents.flat import documents_of_rows, needed_columns, optional_columns
from registry.recording.imports import (
    Manner,
    Source,
    Tally,
    documents_of_json,
    documents_of_lines,
    import_documents,
)

JSON_BYTES = 50_000_000
LARGE = 5_000


class Command(RegistryCommand):
    """Import cases, all or nothing."""

    help = "Imports case documents from .json, .jsonl or flat .csv: all of the file, or nothing of it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--check", action="store_true", help="say what would be done; write nothing")
        parser.add_argument(
            "--amend", metavar="REASON", help="replace cases that are here with other content"
        )
        parser.add_argument("--replace-edits", action="store_true", help="also those last changed on a page")
        parser.add_argument("--as", dest="email", metavar="EMAIL", default="", help="the member who does it")

    def run(
        self, *, file: str, check: bool, amend: str | None, replace_edits: bool, email: str, **_: Any
    ) -> None:
        """See the help."""
        path = existing_file(file)
        if amend is not None and not amend.strip():
            raise Refusal("--amend needs a reason, in words.")
        ensure_keys()
        by = person_acting(email, MAY_WRITE, []) if email else None
        tally = import_file(
            path,
            Manner(amend=(amend or "").strip(), replace_edits=replace_edits, check_only=check),
            by=by,
            command=self,
        )
        if tally.batch is not None:
            self.say(f"batch {tally.batch}")
        self.say(tally_line(tally, check))


def import_file(path: Path, manner: Manner, *, by: Any, command: RegistryCommand) -> Tally:
    """Import a file of any of the three forms, with progress and warnings on the command's stderr."""

    def applying(ready: int) -> None:
        if ready > LARGE and connection.vendor == "sqlite":
            command.remark(
                f"writing {ready} cases: a minute or more, in which nobody else can save (refused after 30 seconds)"
            )

    def progress(done: int) -> None:
        if done % LARGE == 0:
            command.remark(f"{done} checked")

    with path.open("rb") as opened:
        return import_documents(
            _sources(path, opened),
            manner=manner,
            by=by,
            warn=lambda line: command.remark(f"warning: {line}"),
            progress=progress,
            before_applying=applying,
        )


def _sources(path: Path, opened: Any) -> Iterator[Source]:
    match path.suffix.lower():
        case ".jsonl":
            yield from documents_of_lines(opened, DOCUMENT_BYTES)
        case ".json":
            if path.stat().st_size > JSON_BYTES:
                raise Refusal(
                    f"{path.name} has more than {JSON_BYTES} bytes; write large sets as .jsonl, a case a line."
                )
            yield from documents_of_json(opened.read(), DOCUMENT_BYTES)
        case ".csv":
            rows = rows_of_csv(path, needed_columns(), optional_columns())
            for where, document, problem in documents_of_rows(rows):
                yield Source(where, document, problem)
        case other:
            raise Refusal(f"{path.name} ends in {other or 'nothing'}; cases come as .json, .jsonl or .csv.")
