"""Small tables as CSV text, read the same way from a file of a command and from a page; may touch no row."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from registry.canonical import NotReadable

Rows = list[tuple[int, dict[str, str]]]
"""Rows of a table by column, each with the number of the line on which it starts."""

CATALOGUE_COLUMNS = ("maker", "model", "name", "class")
DEVICE_USE_COLUMNS = ("site", "device_model", "month", "uses")
RETURN_COLUMNS = ("site", "month", "procedures", "reporting", "confirmed_by")


class NotATable(NotReadable):
    """The text is not the table that was asked for; the message names the file, the line and what is allowed."""


def rows_of_bytes(raw: bytes, name: str, columns: Sequence[str], optional: Sequence[str] = ()) -> Rows:
    """The rows of a CSV file's bytes, called `name` in messages; NotATable where they are not such a table."""
    return rows_of_text(text_of_bytes(raw, name), name, columns, optional)


def text_of_bytes(raw: bytes, name: str) -> str:
    """The text of a file; NotATable where it is not UTF-8."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise NotATable(f"{name} is not UTF-8 text: byte {error.start + 1} cannot be read.") from None


def rows_of_text(text: str, name: str, columns: Sequence[str], optional: Sequence[str] = ()) -> Rows:
    """The rows of a CSV text; every column there, no other, spaces around values cut, empty lines left out."""
    if "\0" in text:
        raise NotATable(f"{name} holds a NUL character; it is not a CSV file.")
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    listed = []
    try:
        heading = [column.strip() for column in next(reader, [])]
        _check_heading(name, heading, columns, optional)
        start = reader.line_num + 1
        for row in reader:
            if row and any(cell.strip() for cell in row):
                if len(row) != len(heading):
                    raise NotATable(
                        f"{name}, line {start}: {len(row)} cells; the heading has {len(heading)} columns."
                    )
                listed.append((start, dict(zip(heading, (cell.strip() for cell in row), strict=True))))
            start = reader.line_num + 1
    except csv.Error as error:
        raise NotATable(f"{name}, line {reader.line_num}: not CSV: {error}.") from None
    if not listed:
        raise NotATable(f"{name} holds no row; at least one is needed.")
    return listed


def _check_heading(
    name: str, heading: Sequence[str], columns: Sequence[str], optional: Sequence[str]
) -> None:
    allowed = ", ".join([*columns, *optional])
    missing = [column for column in columns if column not in heading]
    strange = [column for column in heading if column not in columns and column not in optional]
    if missing or strange or len(set(heading)) != len(heading):
        what = f"lacks {', '.join(missing)}" if missing else f"has {', '.join(strange) or 'a column twice'}"
        raise NotATable(f"{name}, line 1: the heading {what}; columns: {allowed}.")
