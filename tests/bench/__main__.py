"""Runs the benchmark on both engines: a table on stdout, and `var/bench/latest.json`.

A ratio is a failure beyond one and a half times its target, for noise; a target of 0 is for things that are counted.
Times of different runs are never compared. `SIZE` cases (10,000), the pages once more at `PAGES_SIZE` (100,000).
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from itertools import chain
from typing import Any

from tests.bench.intervals import alike, intervals, sums
from tests.run import TESTS, postgresql

SIZE = int(os.environ.get("SIZE", "10000"))
PAGES_SIZE = int(os.environ.get("PAGES_SIZE", "100000"))
NOISE = 1.5
OUT = TESTS.parent / "var" / "bench"


def on_engine(url: str, size: int, *options: str) -> list[dict[str, Any]]:
    """The ratios of one engine at one size."""
    with tempfile.TemporaryDirectory() as folder:
        words = [sys.executable, "-m", "tests.bench.engine", "--size", str(size), *options]
        environment = {**os.environ, "VAR_DIR": folder, "DATABASE_URL": url}
        with subprocess.Popen(
            words, cwd=TESTS.parent, env=environment, stdout=subprocess.PIPE, text=True
        ) as engine:
            assert engine.stdout is not None
            rows = [shown(json.loads(line)) for line in engine.stdout]
    if engine.returncode:
        raise SystemExit("the benchmark stopped: see above")
    return rows


def shown(row: dict[str, Any]) -> dict[str, Any]:
    """The row, printed as soon as it is measured."""
    target = "" if row["target"] is None else f"{row['target']:.2f}"
    line = f"{row['id']:24}{row['engine']:12}{row['size']:>8}{row['ratio']:>8.2f}{target:>8}  {row['detail']}"
    print(line, flush=True)
    return row


def main() -> int:
    """Both engines; 0 where no ratio is far beyond its target."""
    print(f"{'id':24}{'engine':12}{'size':>8}{'ratio':>8}{'target':>8}  detail")
    rows: list[dict[str, Any]] = [shown(one.as_row()) for one in chain(intervals(), sums(), alike())]
    with postgresql() as url:
        rows += on_engine("", SIZE) + on_engine(url, SIZE)
    if SIZE < PAGES_SIZE:
        with postgresql() as url:  # a server of its own: the one above holds the smaller registry
            rows += on_engine("", PAGES_SIZE, "--pages") + on_engine(url, PAGES_SIZE, "--pages")
    OUT.mkdir(parents=True, exist_ok=True)
    (OUT / "latest.json").write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    beyond = [row["id"] for row in rows if row["target"] is not None and row["ratio"] > NOISE * row["target"]]
    if beyond:
        print(f"far beyond their targets: {', '.join(beyond)}")
    return 1 if beyond else 0


if __name__ == "__main__":
    sys.exit(main())
