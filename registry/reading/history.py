"""The versions of a case: when, who and what in words, and a comparison of two of them."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from registry.canonical import read
from registry.journal import COMMAND_LINE
from registry.models import Case, JournalEntry, Person, Version
from registry.reading.comparing import differences
from registry.reading.sealed import whole_versions
from registry.versions import version_text

_WHAT: Mapping[str, str] = {
    "case_created": "Submitted",
    "case_amended": "Amended",
    "case_withdrawn": "Withdrawn",
    "case_locked": "Locked",
    "case_unlocked": "Unlocked",
    "case_brought_back": "Brought back",
    "case_erased": "Identifying fields and notes erased",
}
_SOURCES: Mapping[str, str] = {"import": " by an import"}
_FROM_COMMAND_LINE = "from the command line"


@dataclass(frozen=True, slots=True)
class VersionLine:
    """One version: its number, when it was made, by whom, and what was done."""

    number: int
    at: datetime.datetime
    who: str
    what: str


def versions_of(case: Case) -> list[VersionLine]:
    """The versions of a case, the last first; two statements."""
    entries = JournalEntry.objects.filter(case=case, what__in=_WHAT).order_by("-id")
    read_entries = [(entry.at, entry.what, read(entry.text)) for entry in entries]
    codes = {text["who"] for _, _, text in read_entries} - {COMMAND_LINE}
    names = {COMMAND_LINE: _FROM_COMMAND_LINE}
    if codes:
        names |= {person.code: str(person) for person in Person.objects.filter(code__in=codes)}
    return [
        VersionLine(
            number=int(text["version"]),
            at=at,
            who=names.get(text["who"], str(text["who"])),
            what=_WHAT[what] + _SOURCES.get(str(text["particulars"].get("source")), ""),
        )
        for at, what, text in read_entries
        if text["version"] is not None
    ]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two versions side by side in words.

    `problem` says what was wrong with what was asked; `notes_compared` is False where names and notes of one of the
    two cannot be opened any more.
    """

    first: int
    last: int
    sentences: list[str]
    between: list[VersionLine]
    notes_compared: bool = True
    problem: str = ""


def compared(case: Case, versions: list[VersionLine], asked_first: str, asked_last: str) -> Comparison:
    """Two versions of a case by their numbers as typed; by itself the last and the one before it."""
    newest = versions[0].number
    first, wrong_first = _number(asked_first, max(newest - 1, 1), newest, "From")
    last, wrong_last = _number(asked_last, newest, newest, "To")
    problem = " ".join(part for part in (wrong_first, wrong_last) if part)
    if first > last:
        first, last = last, first
    rows = Version.objects.filter(case=case, number__in={first, last})
    texts = {row.number: version_text(row.text) for row in rows}
    whole = whole_versions(case, texts)
    documents = whole if whole is not None else {number: text.clear for number, text in texts.items()}
    return Comparison(
        first,
        last,
        differences(documents[first], documents[last]),
        [line for line in reversed(versions) if first < line.number <= last],
        notes_compared=whole is not None,
        problem=problem,
    )


def _number(asked: str, otherwise: int, newest: int, label: str) -> tuple[int, str]:
    if not asked.strip():
        return otherwise, ""
    if asked.isascii() and asked.isdigit() and len(asked) < 6 and 1 <= int(asked) <= newest:
        return int(asked), ""
    shown = asked if len(asked) <= 20 else f"{asked[:20]}…"
    allowed = "version 1 alone" if newest == 1 else f"a version from 1 to {newest}"
    return otherwise, f"{label}: “{shown}” is no version of this case; it can be {allowed}."
