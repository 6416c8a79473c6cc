"""Backing up the whole registry into one file, on one snapshot, while others go on saving."""

from __future__ import annotations

import gzip
import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from django.utils import timezone

from registry.journal import moment
from registry.models import DataKey, Head, JournalEntry
from registry.recording.backup_format import (
    CARRIED,
    FORMAT,
    KIND,
    chain_key_of,
    columns_of,
    encoded,
    model_of,
)
from registry.recording.change import NotSaved
from registry.recording.files import put_in_place
from registry.recording.snapshot import snapshot

CHUNK = 2000


def back_up(path: Path) -> tuple[str, int]:
    """Write a backup; returns the head as `NUMBER:MAC` and the number of cases. An older file gives way in one step."""
    if not path.parent.is_dir():
        raise NotSaved(f"there is no folder {path.parent} to write {path.name} into")
    if path.exists() and not path.is_file():
        raise NotSaved(f"{path} is not a file; a backup takes the place of a file or of nothing")
    try:
        with put_in_place(path) as file, snapshot():
            head = Head.objects.get()
            counts = _written(file, head)
    except OSError as error:
        raise NotSaved(f"{path} cannot be written: {error.strerror}") from None
    return str(head), counts["registry.Case"]


def _written(file: BinaryIO, head: Head) -> dict[str, int]:
    running = hashlib.sha256()
    counts = dict.fromkeys(CARRIED, 0)
    with gzip.GzipFile(filename="", fileobj=file, mode="wb", compresslevel=6, mtime=0) as packed:

        def put(value: Any) -> None:
            line = json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"
            running.update(line)
            packed.write(line)

        put(_heading(head))
        for label in CARRIED:
            put({"table": label, "columns": columns_of(model_of(label))})
            for row in _rows(label):
                put(row)
                counts[label] += 1
        put({"end": counts, "sha256": running.hexdigest()})
    return counts


def _heading(head: Head) -> dict[str, Any]:
    wrapping = DataKey.objects.order_by().values_list("wrapping_key", flat=True).distinct()
    return {
        "kind": KIND,
        "format": FORMAT,
        "registry": str(head.registry),
        "head": str(head),
        "made_at": moment(timezone.now()),
        "wrapping_keys": sorted(wrapping),
        "chain_keys": sorted(_chain_keys()),
    }


def _chain_keys() -> set[str]:
    texts = JournalEntry.objects.order_by("pk").values_list("text", flat=True)
    return {key for text in texts.iterator(chunk_size=CHUNK) if (key := chain_key_of(text))}


def _rows(label: str) -> Iterator[list[Any]]:
    model = model_of(label)
    rows = model._base_manager.order_by("pk").values_list(*columns_of(model))
    for row in rows.iterator(chunk_size=CHUNK):
        yield [encoded(value) for value in row]
