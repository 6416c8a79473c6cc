"""The list of erasures: a file beside the database, so that what an older backup brings back is erased again.

It holds codes of cases and drafts and no word of any patient. It is on the disk before an erasure begins.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from pathlib import Path

from django.conf import settings
from django.utils import timezone

from registry.journal import moment
from registry.recording.change import NotSaved


def list_erasure(*, registry: str, site: str, cases: Iterable[str], drafts: Iterable[str]) -> None:
    """Add one erasure to the list, and wait until it is on the disk; NotSaved where it cannot be written."""
    line = json.dumps(
        {
            "registry": registry,
            "at": moment(timezone.now()),
            "site": site,
            "cases": sorted(cases),
            "drafts": sorted(drafts),
        }
    )
    path = Path(settings.ERASURES_FILE)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            file.write(line + "\n")
            file.flush()
            os.fsync(file.fileno())
        _synced(path.parent)
    except OSError as error:
        raise NotSaved(
            f"the list of erasures, {path.name}, cannot be written ({error.strerror}); nothing was erased"
        ) from None


def _synced(folder: Path) -> None:
    """A new file's name is on the disk only when its folder is."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def listed_erasures(registry: str) -> set[str] | None:
    """The codes of this registry's erased cases and drafts; None where there is no list.

    NotSaved names a line that cannot be read: passing over it would bring back what was erased.
    """
    path = Path(settings.ERASURES_FILE)
    if not path.exists():
        return None
    codes: set[str] = set()
    for number, line in enumerate(path.read_bytes().splitlines(), start=1):
        try:
            erasure = json.loads(line)
            if erasure["registry"] == registry:
                codes.update(erasure["cases"], erasure["drafts"])
        except (ValueError, KeyError, TypeError):
            raise NotSaved(
                f"line {number} of the list of erasures, {path.name}, cannot be read; put it right first"
            ) from None
    return codes
