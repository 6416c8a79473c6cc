"""Puts invented cases, uses and returns into the registry through the real imports, and asks the real command."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from registry.access import scope_of_command_line
from registry.recording.devices import import_catalogue, import_device_use, import_procedures
from registry.recording.imports import Manner, Source, Tally, import_documents
from registry.recording.sites import add_site
from tests.builders import Document, a_case
from tests.commands import command

CATALOGUE = ("maker", "model", "name", "class")
USES = ("site", "device_model", "month", "uses")
RETURNS = ("site", "month", "procedures", "reporting", "confirmed_by")

EVERYTHING = scope_of_command_line()


def add_sites(*codes: str) -> None:
    """Sites to import into."""
    for code in codes:
        add_site(code, code.title(), by=None)


def cases_of(*complications: Document, **more: object) -> list[Document]:
    """A case for each complication."""
    return [a_case(one, id=f"N-{number}", **more) for number, one in enumerate(complications, start=1)]


def take(*documents: Document, amend: str = "") -> Tally:
    """Import documents in one go, as `import_cases` does."""
    sources = [Source(f"document {number}", one) for number, one in enumerate(documents, start=1)]
    return import_documents(sources, manner=Manner(amend=amend), by=None, warn=lambda line: None)


def _lines(columns: Sequence[str], rows: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    return [
        (number, dict(zip(columns, row.split(","), strict=True))) for number, row in enumerate(rows, start=2)
    ]


def catalogue(*rows: str) -> None:
    """Import catalogue rows, each `maker,model,name,class`."""
    import_catalogue(_lines(CATALOGUE, rows), check_only=False, by=None)


def uses(*rows: str) -> None:
    """Import device use, each row `site,device_model,month,uses`."""
    import_device_use(_lines(USES, rows), check_only=False, by=None)


def returns(*rows: str) -> None:
    """Import monthly returns, each row `site,month,procedures,reporting,confirmed_by`."""
    import_procedures(_lines(RETURNS, rows), check_only=False, by=None)


def printed(question: str, *options: str) -> list[str]:
    """The rows that `answers` prints, without the heading."""
    outcome = command("answers", question, *options)
    assert outcome.status == 0, outcome.err
    return outcome.out.splitlines()[1:]


def rows(question: str, *options: str) -> list[dict[str, str]]:
    """The same, by the names of the columns."""
    outcome = command("answers", question, *options)
    assert outcome.status == 0, outcome.err
    return list(csv.DictReader(io.StringIO(outcome.out)))


def picked(question: str, columns: str, *options: str) -> list[str]:
    """Of each row some columns, as they are printed; both are lists with commas."""
    return [",".join(row[column] for column in columns.split(",")) for row in rows(question, *options)]


def left_out(question: str, *options: str) -> list[str]:
    """What `answers` says on stderr that it left out."""
    return [line for line in command("answers", question, *options).err.splitlines() if "left out" in line]
