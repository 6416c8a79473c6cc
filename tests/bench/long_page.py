"""P6: a page of 1,900 rows as HTML, beside the same rows as joined and escaped strings."""

from __future__ import annotations

import time
from collections.abc import Iterator
from html import escape
from typing import Any
from unittest import mock

from django.db import connection
from django.shortcuts import render
from django.urls import reverse

from analytics import snapshots, summaries
from analytics.cohorts import Filters
from analytics.views import devices
from registry.access import scope_of_command_line
from registry.recording.devices import import_catalogue, import_device_use
from tests.bench.measuring import Measured, side_by_side
from tests.bench.pages import director_of_all_sites

ROWS = 1_900
MONTH = "2024-03"


def long_page(size: int, site: str) -> Iterator[Measured]:
    """The devices of a catalogue of 1,900 more models: drawing the page apart from counting."""
    _more_models(site)
    snapshots.rebuild()
    client = director_of_all_sites()
    answer = summaries.devices(scope_of_command_line(), Filters())
    drawn: list[tuple[Any, ...]] = []

    def noted(*given: Any) -> Any:
        drawn.append(given)
        return render(*given)

    start = time.perf_counter()
    with mock.patch.object(devices, "render", noted):
        page = client.get(reverse("devices"))
    whole = time.perf_counter() - start
    assert page.content.count(b"data-model=") >= ROWS, "the page lacks rows"
    ratio, detail = side_by_side(lambda: render(*drawn[-1]), lambda: _joined(answer.rows), rounds=7)
    size_of_page = f"{len(answer.rows)} rows, {len(page.content) / 1024:.0f} KB"
    detail = f"{size_of_page}, the whole page {1000 * whole:.0f} ms; {detail}"
    yield Measured("P6", connection.vendor, size, ratio, 6.0, detail)


def _more_models(site: str) -> None:
    models = [f"MODEL-{number:04}" for number in range(ROWS)]
    import_catalogue(
        [
            (line, {"maker": "Invented", "model": code, "name": f"Name {code}", "class": "guidewire"})
            for line, code in enumerate(models, start=2)
        ],
        check_only=False,
        by=None,
    )
    import_device_use(
        [
            (line, {"site": site, "device_model": code, "month": MONTH, "uses": "40"})
            for line, code in enumerate(models, start=2)
        ],
        check_only=False,
        by=None,
    )


def _joined(rows: Any) -> str:
    """Each row's cells, numbers among them written as the page has them."""
    lines = []
    for row in rows:
        cells = [
            escape(row.device_model or ""),
            escape(row.device_class),
            f"{row.uses:,}",
            str(row.events),
            f"{row.rate_per_1000:.2f}" if row.rate_per_1000 is not None else "",
            f"{row.lower:.2f} to {row.upper:.2f}" if row.lower is not None else "",
            str(row.secondary_events),
        ]
        lines.append(f"<tr><td>{'</td><td>'.join(cells)}</td></tr>")
    return "\n".join(lines)
