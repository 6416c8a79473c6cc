"""P10 and P11: many processes that save at once; errors, and what is missing afterwards."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Iterator

from django.db import DatabaseError, connection

from registry.models import Case
from registry.recording.cases import submit_case
from registry.recording.change import NotSaved
from registry.verification import verified
from tests.bench.measuring import Measured
from tests.bench.saving import a_document

WRITERS = 8
SAVES = 40
LONGEST = 120.0
"""Seconds after which no further save is begun."""


def writers(size: int, site: str) -> Iterator[Measured]:
    """Eight processes save as fast as they can: refused ones and lost ones must be none."""
    connection.close()
    start = time.perf_counter()
    with multiprocessing.get_context("fork").Pool(WRITERS) as pool:
        told = pool.starmap(_saves, [(site, number, time.monotonic() + LONGEST) for number in range(WRITERS)])
    seconds = time.perf_counter() - start
    kept = {code for codes, _ in told for code in codes}
    refused = sum(errors for _, errors in told)
    lost = len(kept) - Case.objects.filter(code__in=kept).count()
    verified()
    detail = (
        f"{len(kept)} saves by {WRITERS} processes confirmed, {refused} refused as locked or otherwise, {lost} lost; "
        f"{len(kept) / seconds:.0f} a second with checks and sealing; the history verified"
    )
    name = "P11" if connection.vendor == "sqlite" else "P10 errors"
    yield Measured(name, connection.vendor, size, refused + lost, 0.0, detail)


def _saves(site: str, writer: int, ends: float) -> tuple[list[str], int]:
    """The public codes of what was confirmed, and how many saves were not."""
    connection.close()
    codes, errors = [], 0
    for number in range(SAVES):
        if time.monotonic() > ends:
            break
        try:
            codes.append(submit_case(a_document(f"p11-{writer}-{number}", site), by=None).code)
        except (DatabaseError, NotSaved):
            errors += 1
    connection.close()
    return codes, errors
