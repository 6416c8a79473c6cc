"""Reading a backup: whether it is one, whole and of this program's tables, and whether the keys at hand are its own.

Touches no database.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import uuid
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings

from registry.recording.backup_format import (
    CARRIED,
    FORMAT,
    KIND,
    Heading,
    chain_key_of,
    columns_of,
    model_of,
)
from registry.recording.change import NotSaved
from registry.sealing import KeysMissing, NotOpened, Wrapped, chain_mac, unwrap

LONGEST_LINE = 50_000_000


def heading_of(path: Path) -> Heading:
    """The heading of a file; NotSaved where it is no backup, or of a later form."""
    return _heading(path, next(_lines(path), b""))


def rows_in(path: Path) -> Iterator[tuple[str, list[Any]]]:
    """Every row with its table's name; NotSaved as soon as something is wrong, at the latest at the closing line."""
    running = hashlib.sha256()
    counts = dict.fromkeys(CARRIED, 0)
    table = ""
    lines = _lines(path)
    first = next(lines, b"")
    _heading(path, first)
    running.update(first)
    for line in lines:
        value = _value(path, line)
        if isinstance(value, list):
            if not table or len(value) != len(columns_of(model_of(table))):
                raise _damaged(path)
            counts[table] += 1
            yield table, value
        elif isinstance(value, dict) and "table" in value:
            table = _table(path, value)
        elif isinstance(value, dict) and "end" in value:
            if value != {"end": counts, "sha256": running.hexdigest()} or next(lines, b""):
                raise _damaged(path)
            return
        else:
            raise _damaged(path)
        running.update(line)
    raise NotSaved(f"{path.name} is cut short: its closing line is missing; nothing was restored")


def inspected(path: Path) -> Heading:
    """The heading of a backup that is whole and whose keys are at hand; raises NotSaved or KeysMissing."""
    heading = heading_of(path)
    _require_ids("WRAPPING_KEYS", "wrapping", settings.WRAPPING_KEYS, heading.wrapping_keys)
    _require_ids("CHAIN_KEYS", "chain", settings.CHAIN_KEYS, heading.chain_keys)
    chain, wrapping = set(heading.chain_keys), set(heading.wrapping_keys)
    previous, last = "", "0:"
    for table, values in rows_in(path):
        if table == "registry.JournalEntry":
            entry = _named(table, values)
            key = chain_key_of(entry["text"])
            if key in chain and _fits(entry, key, previous):
                chain.discard(key)
            previous, last = entry["mac"], f"{entry['id']}:{entry['mac']}"
        elif wrapping and table == "registry.DataKey":
            row = _named(table, values)
            if row["wrapping_key"] in wrapping and _opens(row):
                wrapping.discard(row["wrapping_key"])
    if unproven := [f"chain key {key}" for key in chain] + [f"wrapping key {key}" for key in wrapping]:
        raise KeysMissing(
            f"the {unproven[0]} here is another one than that of the same name which the backup was made with; "
            "nothing was restored"
        )
    if heading.head != last:
        raise NotSaved(
            f"{path.name} says that it ends at entry {heading.head}, but holds {last}; nothing was restored"
        )
    return heading


def _lines(path: Path) -> Iterator[bytes]:
    """The lines of a gzip file; what gzip finds wrong becomes a sentence."""
    begun = False
    try:
        with gzip.open(path, "rb") as file:
            while line := file.readline(LONGEST_LINE):
                begun = True
                yield line
    except EOFError:
        raise NotSaved(f"{path.name} is cut short; nothing was restored") from None
    except zlib.error:
        raise _damaged(path) from None
    except gzip.BadGzipFile:
        raise (_damaged(path) if begun else _no_backup(path)) from None
    except OSError as error:
        raise NotSaved(f"{path.name} cannot be read: {error.strerror}") from None


def _heading(path: Path, line: bytes) -> Heading:
    try:
        value = json.loads(line)
        kind, form = value["kind"], value["format"]
    except (ValueError, KeyError, TypeError):
        raise _no_backup(path) from None
    if kind != KIND:
        raise _no_backup(path)
    if form != FORMAT:
        raise NotSaved(
            f"{path.name} has the form {form}; this version of the program reads form {FORMAT}: nothing was restored"
        )
    try:
        return Heading(
            registry=str(uuid.UUID(value["registry"])),
            head=value["head"],
            made_at=value["made_at"],
            wrapping_keys=tuple(value["wrapping_keys"]),
            chain_keys=tuple(value["chain_keys"]),
        )
    except (ValueError, KeyError, TypeError):
        raise _damaged(path) from None


def _value(path: Path, line: bytes) -> Any:
    try:
        return json.loads(line)
    except ValueError:
        raise _damaged(path) from None


def _table(path: Path, value: dict[str, Any]) -> str:
    label = value["table"]
    if label not in CARRIED or value.get("columns") != columns_of(model_of(label)):
        raise NotSaved(
            f"{path.name} was made by another version of the program: the table {label} differs. Restore it with that "
            "version, then bring the program up to date; nothing was restored"
        )
    return str(label)


def _named(label: str, values: list[Any]) -> dict[str, Any]:
    return dict(zip(columns_of(model_of(label)), values, strict=True))


def _require_ids(setting: str, kind: str, given: str, needed: tuple[str, ...]) -> None:
    there = {item.partition(":")[0].strip() for item in given.split(",")}
    if missing := sorted(set(needed) - there):
        raise KeysMissing(
            f"the backup needs the {kind} key {missing[0]}, which is missing from {setting}; nothing was restored"
        )


def _fits(entry: dict[str, Any], key: str, previous: str) -> bool:
    return chain_mac(key, previous, entry["id"], entry["text"]) == entry["mac"]


def _opens(row: dict[str, Any]) -> bool:
    try:
        unwrap(Wrapped(uuid.UUID(row["id"]), row["owner"], row["wrapping_key"], row["wrapped"]))
    except NotOpened:
        return False
    return True


def _no_backup(path: Path) -> NotSaved:
    return NotSaved(f"{path.name} is not a backup of a registry; nothing was restored")


def _damaged(path: Path) -> NotSaved:
    return NotSaved(f"{path.name} is damaged: it is not as it was written; nothing was restored")
