"""Rules about the dates of one document: what may lie in the future, and what cannot come before the procedure."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping

from registry import case_fields as fields
from registry.canonical import Json
from registry.documents.visiting import Survey
from registry.findings import Finding
from registry.partial_dates import span


def dates(document: Mapping[str, Json], seen: Survey, today: datetime.date) -> Iterator[Finding]:
    """Findings about dates; `today` is the site's own. A partly known date is refused only where no reading fits."""
    yield from _future(seen, today)
    yield from _before_procedure(document)
    for path, _, thing in seen.things:
        for earlier, later in (
            ("start", "stop"),
            ("aware", "due"),
            ("aware", "done"),
            ("start", "do_not_stop_before"),
        ):
            yield from _order(thing, earlier, later, path)


def _future(seen: Survey, today: datetime.date) -> Iterator[Finding]:
    for path, kind, value in seen.values[fields.Date]:
        if isinstance(kind, fields.Date) and not kind.future and span(value).earliest > today:
            yield Finding(path, value, "lies in the future", f"up to today, {today.isoformat()}")


def _before_procedure(document: Mapping[str, Json]) -> Iterator[Finding]:
    procedure = document["procedure"]["date"]
    start = span(procedure).earliest
    for number, seen in enumerate(document.get("follow_up") or []):
        found = [(f"follow_up[{number}].date", seen.get("date"))]
        for index, event in enumerate(seen.get("events") or []):
            found.append((f"follow_up[{number}].events[{index}].date", event.get("date")))
        for path, value in found:
            if value is not None and span(value).latest < start:
                yield Finding(
                    path, value, f"before the procedure of {procedure}", "the procedure's day or later"
                )


def _order(thing: Mapping[str, Json], earlier: str, later: str, path: str) -> Iterator[Finding]:
    first, second = thing.get(earlier), thing.get(later)
    if first is not None and second is not None and span(second).latest < span(first).earliest:
        yield Finding(f"{path}.{later}", second, f"before {earlier}, {first}: is that so?", refused=False)
