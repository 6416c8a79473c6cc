"""P10 and P11: many processes that save at once; errors, what is missing afterwards, and what the crowd costs."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable, Iterator
from itertools import islice
from typing import Any

from django.db import DatabaseError, connection

from registry.models import Case
from registry.recording.cases import submit_case
from registry.recording.change import NotSaved
from registry.verification import verified
from tests.bench.measuring import Measured
from tests.bench.saving import Plan, a_document, prepared, save_by_product

WRITERS = 8
SAVES = 40
CROWD = 50
EACH = 12
"""Saves of each of the crowd, before which all wait for each other."""
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


def crowd(size: int, site: str) -> Iterator[Measured]:
    """Fifty processes through the product, then fifty by hand, under the same lock on the chain: the times (P10)."""
    if connection.vendor == "sqlite":
        return  # one process writes at a time: P11
    ways: list[Callable[[str], tuple[float, int]]] = [
        lambda name: _crowded(site, name, lambda one: one, save_by_product),
        lambda name: _crowded(site, name, Plan, Plan.saved),
    ]
    (ours, refused), (theirs, _) = [way(f"p10-{time.time_ns()}") for way in ways]
    verified()
    saves = CROWD * EACH
    detail = (
        f"{CROWD} processes, {saves} saves each way: {saves / ours:.0f} a second by the product, "
        f"{saves / theirs:.0f} by hand; {refused} refused; checks and sealing before the clock; the history verified"
    )
    yield Measured(
        "P10", connection.vendor, size, ours / theirs if not refused else float("inf"), 2.5, detail
    )


def _crowded(
    site: str, name: str, ready: Callable[[Any], Any], save: Callable[[Any], None]
) -> tuple[float, int]:
    """Seconds from the start that all share to the last save, and how many were refused."""
    connection.close()
    context = multiprocessing.get_context("fork")
    start, told = context.Barrier(CROWD + 1), context.Queue()

    def saves(number: int) -> None:
        connection.close()
        waiting = [ready(one) for one in islice(prepared(site, f"{name}-{number}"), EACH)]
        start.wait()
        refused = 0
        for one in waiting:
            try:
                save(one)
            except DatabaseError:
                refused += 1
        told.put(refused)
        connection.close()

    processes = [context.Process(target=saves, args=(number,)) for number in range(CROWD)]
    for process in processes:
        process.start()
    start.wait(timeout=LONGEST)
    began = time.perf_counter()
    refused = sum(told.get(timeout=LONGEST) for _ in processes)
    seconds = time.perf_counter() - began
    for process in processes:
        process.join()
    return seconds, refused
