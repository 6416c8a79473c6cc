"""P2: how answers from a snapshot slow down from the smallest registry of a run to its largest."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from tests.bench.measuring import Measured

READ = "ms "
"""How the ids of rows begin that hold milliseconds."""
TARGET = 1.25
FROM, TO = 10_000, 1_000_000
"""The sizes for which the target was set."""


def growth(rows: Iterable[Mapping[str, Any]]) -> Iterator[dict[str, object]]:
    """A row for each answer and engine measured at two sizes or more."""
    times: dict[tuple[str, str], dict[int, float]] = {}
    for row in rows:
        if row["id"].startswith(READ):
            times.setdefault((row["id"], row["engine"]), {})[row["size"]] = row["ratio"]
    for (name, engine), found in times.items():
        small, large = min(found), max(found)
        if small < large:
            target = TARGET if (small, large) == (FROM, TO) else None
            detail = f"{name.removeprefix(READ)}: {found[small]:.2f} ms at {small:,}, {found[large]:.2f} at {large:,}"
            yield Measured("P2", engine, large, found[large] / found[small], target, detail).as_row()
