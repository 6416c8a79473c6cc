"""A page that shows one interval must not wait for a statistics library to load."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.pure

ROOT = Path(__file__).parents[3]
MODULES = sorted(
    ".".join(file.relative_to(ROOT).with_suffix("").parts)
    for file in (ROOT / "analytics" / "statistics").rglob("*.py")
    if file.stem != "__init__"
)
MEASURE = """
import importlib, json, sys, time
start = time.perf_counter()
for name in sys.argv[1:]:
    importlib.import_module(name)
print(json.dumps({"seconds": time.perf_counter() - start, "loaded": sorted(sys.modules)}))
"""


def importing(*modules: str) -> dict[str, Any]:
    """Seconds and loaded modules of a fresh interpreter that imports them."""
    command = [sys.executable, "-c", MEASURE, *modules]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    result: dict[str, Any] = json.loads(run.stdout)
    return result


def test_all_statistics_load_in_six_tenths_of_a_second() -> None:
    """The best of three, so that other work on the machine doesn't count."""
    assert "analytics.statistics.proportions" in MODULES
    assert min(importing(*MODULES)["seconds"] for _each in range(3)) < 0.6


def test_statistics_load_nothing_heavy() -> None:
    loaded = importing(*MODULES)["loaded"]
    assert "scipy.special" in loaded
    assert not {"django", "pandas", "plotly", "scipy.stats", "statsmodels"}.intersection(loaded)


def test_disclosure_control_loads_no_optimiser() -> None:
    assert "scipy.optimize" not in importing("analytics.statistics.disclosure")["loaded"]


def test_figures_and_their_cautions_load_nothing_heavy() -> None:
    loaded = importing("analytics.estimates", "analytics.answers")["loaded"]
    assert not {"django", "pandas", "plotly", "scipy.stats"}.intersection(loaded)


def test_the_page_of_methods_loads_no_statistic() -> None:
    loaded = importing("analytics.methods")["loaded"]
    assert not {"numpy", "scipy", "django"}.intersection(loaded)


def test_the_package_alone_loads_not_even_numpy() -> None:
    assert "numpy" not in importing("analytics.statistics")["loaded"]
