"""What all tests share: how they are sorted into stages, and the database they run on."""

from __future__ import annotations

import os
from collections.abc import Generator, Iterable
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from django.conf import settings
from django.db import connections
from django.test import TransactionTestCase

DATABASE_FIXTURES = {"db", "transactional_db", "live_server"}

# Other work on the same machine makes single examples slow; how long they take is for the benchmarks to say.
# The soak asks for more examples than the suite.
_EXAMPLES = int(os.environ.get("HYPOTHESIS_EXAMPLES", "100"))
hypothesis.settings.register_profile("ladderbook", deadline=None, max_examples=_EXAMPLES)
hypothesis.settings.load_profile("ladderbook")


def _asks_for_a_database(item: pytest.Item) -> bool:
    if item.get_closest_marker("django_db") or DATABASE_FIXTURES & set(getattr(item, "fixturenames", ())):
        return True
    test_class = getattr(item, "cls", None)
    return isinstance(test_class, type) and issubclass(test_class, TransactionTestCase)


def pytest_collection_modifyitems(items: Iterable[pytest.Item]) -> None:
    """Marks as `pure` each test that asks for no database; pytest-django refuses it one."""
    for item in items:
        if not _asks_for_a_database(item):
            item.add_marker("pure")


def _refuse_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    """Where `CI` is set nothing may be left out quietly: a skipped test is a failed one."""
    if os.environ.get("CI") and report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.outcome = "failed"
        report.longrepr = f"Nothing may be skipped where CI is set. {reason}"


@pytest.hookimpl(wrapper=True, trylast=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """See `_refuse_skip`."""
    report = yield
    _refuse_skip(report)
    return report


@pytest.hookimpl(wrapper=True, trylast=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """See `_refuse_skip`: a module that skips itself as a whole is reported while collecting."""
    report = yield
    _refuse_skip(report)
    return report


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix: None) -> None:
    """SQLite is tested as a file, as it is used: in memory it knows neither WAL nor a second connection."""
    default: dict[str, Any] = connections.databases["default"]
    if default["ENGINE"] == "django.db.backends.sqlite3":
        default["TEST"]["NAME"] = str(Path(settings.VAR_DIR) / "test.sqlite3")


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """The machine's own Chromium, in a container too; it calls no one but the test's server."""
    # Playwright runs an event loop in this thread, in which Django would else refuse to touch the database.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    return {
        **browser_type_launch_args,
        "executable_path": os.environ.get("CHROMIUM", "/usr/bin/chromium"),
        "args": [
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
        ],
    }


@pytest.fixture(autouse=True)
def _another_registry() -> None:
    """Each test has a registry of its own, so that nothing seen of the one before it is remembered."""
    from deploy.demo_marks import ask_again

    ask_again()
