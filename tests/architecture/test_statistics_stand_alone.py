"""The statistics are numbers in and results out: they import NumPy, SciPy, the standard library and themselves."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

pytestmark = pytest.mark.pure

ROOT = Path(__file__).parents[2]
MODULES = sorted((ROOT / "analytics" / "statistics").rglob("*.py"))
ALLOWED = {"numpy", "scipy"}
OF_THE_OUTSIDE = {
    "os",
    "pathlib",
    "io",
    "sqlite3",
    "socket",
    "urllib",
    "http",
    "subprocess",
    "random",
    "datetime",
}
"""Parts of the standard library that reach beyond the numbers given: files, the network, chance and the clock."""


def imported(text: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield "." * node.level + (node.module or "")


def is_allowed(name: str) -> bool:
    first = name.split(".", maxsplit=1)[0]
    if first == "analytics":
        return name == "analytics.statistics" or name.startswith("analytics.statistics.")
    return first in ALLOWED or (first in sys.stdlib_module_names and first not in OF_THE_OUTSIDE)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_of_statistics_imports_numpy_scipy_and_itself(path: Path) -> None:
    assert [name for name in imported(path.read_text(encoding="utf-8")) if not is_allowed(name)] == []


@pytest.mark.parametrize(
    "line",
    [
        "import django",
        "from pandas import DataFrame",
        "from analytics.cohorts import Filters",
        "def f():\n    import statsmodels.api",
        "from .. import cohorts",
        "import random",
    ],
)
def test_the_scan_finds_what_it_looks_for(line: str) -> None:
    assert not all(map(is_allowed, imported(line)))


def test_the_scan_reads_every_module() -> None:
    assert {"_inputs.py", "proportions.py", "counts.py", "sequences.py"} <= {path.name for path in MODULES}
