"""Runs every soak and prints its figures; JSON in var/soak/. May take as long as it needs."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from typing import Any

import django

from tests.run import TESTS, postgresql
from tests.soak.coverage import measured

ROUNDS = 200
EXAMPLES = 1_000
OUT = TESTS.parent / "var" / "soak"


def faults(engine: str, url: str) -> dict[str, Any]:
    """Kills in the middle of saves and imports; see `tests.soak.faults`."""
    with tempfile.TemporaryDirectory() as folder:
        words = [sys.executable, "-m", "tests.soak.faults", "--rounds", str(ROUNDS)]
        environment = {**os.environ, "VAR_DIR": folder, "DATABASE_URL": url}
        done = subprocess.run(
            words, cwd=TESTS.parent, env=environment, capture_output=True, text=True, check=False
        )
    if not done.stdout.strip():
        return {"engine": engine, "wrong": [done.stderr[-2000:]]}
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def fuzzing() -> dict[str, Any]:
    """The property tests, which alone draw examples, with far more of them than the suite gives."""
    words = [sys.executable, "-m", "pytest", "-q", "-m", "hypothesis"]
    environment = {**os.environ, "HYPOTHESIS_EXAMPLES": str(EXAMPLES)}
    done = subprocess.run(
        words, cwd=TESTS.parent, env=environment, capture_output=True, text=True, check=False
    )
    last = done.stdout.strip().splitlines()[-1] if done.stdout.strip() else done.stderr[-500:]
    return {
        "examples": EXAMPLES,
        "outcome": last,
        "wrong": [] if done.returncode == 0 else [done.stdout[-4000:]],
    }


def signals() -> dict[str, Any]:
    """The watched charts over invented registries; the answers behind them are read with the product's settings."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    from tests.soak.signals import measured as watched

    return watched()


def main() -> int:
    """Every soak, whether or not one before it failed; 0 where nothing went wrong."""
    OUT.mkdir(parents=True, exist_ok=True)
    wrong = 0
    with postgresql() as url:
        soaks = {
            "faults_sqlite": lambda: faults("sqlite", ""),
            "faults_postgresql": lambda: faults("postgresql", url),
            "fuzzing": fuzzing,
            "coverage": measured,
            "signals": signals,
        }
        for name, soak in soaks.items():
            start = time.monotonic()
            found = {**soak(), "seconds": round(time.monotonic() - start)}
            print(name, json.dumps(found), flush=True)
            (OUT / f"{name}.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
            wrong += bool(found["wrong"])
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
