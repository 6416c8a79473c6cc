"""P6: a page of 1,900 rows from its answer to HTML, beside the same cells formatted, escaped and joined by hand."""

from __future__ import annotations

import time
from collections.abc import Iterator
from html import escape
from typing import Any
from unittest import mock

from django.db import connection
from django.shortcuts import render
from django.urls import reverse

from analytics import cohorts, figures, snapshots, summaries
from analytics.answers import DeviceRate
from analytics.answers_devices import DevicePage
from analytics.cohorts import Filters, ModelNamed
from analytics.views import devices
from registry.access import scope_of_command_line
from registry.recording.devices import import_catalogue, import_device_use
from tests.bench.measuring import Measured, side_by_side
from tests.bench.pages import director_of_all_sites

ROWS = 1_900
MONTH = "2024-03"


def long_page(size: int, site: str) -> Iterator[Measured]:
    """The devices of a catalogue of 1,900 more models: lines, pictures and page, apart from counting."""
    _more_models(site)
    snapshots.rebuild()
    client = director_of_all_sites()
    answer, found = summaries.device_page(scope_of_command_line(), Filters())
    models = cohorts.catalogue_of({row.device_model for row in answer.rows if row.device_model})
    names = {code: one.name for code, one in models.items()}
    drawn: list[tuple[Any, ...]] = []

    def noted(*given: Any) -> Any:
        drawn.append(given)
        return render(*given)

    start = time.perf_counter()
    with mock.patch.object(devices, "render", noted):
        page = client.get(reverse("devices"))
    whole = time.perf_counter() - start
    assert page.content.count(b"data-model=") >= ROWS, "the page lacks rows"
    request, template, context = drawn[-1]

    def product() -> object:
        table = figures.models_table(answer.rows, names, found.kinds, found.drawn, {})
        return render(request, template, context | {"table": table, "groups": table.groups})

    ratio, detail = side_by_side(product, lambda: _joined(answer.rows, models, found), rounds=15)
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


def _joined(rows: tuple[DeviceRate, ...], models: dict[str, ModelNamed], found: DevicePage) -> str:
    """Each row's cells: names, counts, kinds, the rate with its limits drawn and printed, and drawn in."""
    lines = []
    for row in rows:
        code = row.device_model or ""
        kinds = found.kinds.get((row.device_model, row.device_class), {})
        cells = [
            escape(models[code].name) if code else "",
            escape(code),
            escape(row.device_class),
            *(f"{escape(kind)}: {number}" for kind, number in kinds.items()),
            f"{row.uses:,}",
            str(row.events),
            str(row.secondary_events),
        ]
        if row.rate_per_1000 is not None and row.lower is not None and row.upper is not None:
            start, stop, dot = 10 + 3 * row.lower, 10 + 3 * row.upper, 10 + 3 * row.rate_per_1000
            cells.append(
                f'<svg><path d="M{start:.1f} 16H{stop:.1f}"/><circle cx="{dot:.1f}" cy="16" r="6"/></svg>'
            )
            cells.append(f"{row.rate_per_1000:.2f} ({row.lower:.2f} to {row.upper:.2f})")
        if code in found.drawn.by_model:
            cells.append("drawn in {:.2f} ({:.2f} to {:.2f})".format(*found.drawn.by_model[code]))
        lines.append(f"<tr><td>{'</td><td>'.join(cells)}</td></tr>")
    return "\n".join(lines)
