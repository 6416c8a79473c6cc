"""Sets the environment in which tests run, before settings are read; may touch nothing under var/.

pytest loads this first of all (`-p tests.environment`), in each of its processes, so that no test ever meets
a real registry's folder, database or keys, whatever the shell it was started from has in its environment.
"""

from __future__ import annotations

import atexit
import base64
import os
import shutil
import tempfile

SETTINGS = (
    "ALLOWED_HOSTS",
    "CHAIN_KEYS",
    "DATABASE_URL",
    "ERASURES_FILE",
    "LOOKUP_KEY",
    "PRODUCTION",
    "SECRET_KEY",
    "TASKS",
    "TIME_ZONE",
    "TRUSTED_ORIGINS",
    "WRAPPING_KEYS",
)


def _invented_key(letter: str) -> str:
    """Base 64 of 32 equal bytes: plainly no secret."""
    return base64.b64encode(letter.encode() * 32).decode()


def prepare() -> None:
    """Gives this process a run-time folder of its own, keys that protect nothing, and defaults for the rest.

    `TEST_DATABASE_URL` names the database server to test on; without it the tests run on SQLite.
    """
    folder = tempfile.mkdtemp(prefix="ladderbook-tests-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    for name in SETTINGS:
        os.environ.pop(name, None)
        os.environ.pop(f"{name}_FILE", None)
    os.environ.update(
        VAR_DIR=folder,
        DATABASE_URL=os.environ.get("TEST_DATABASE_URL", ""),
        SECRET_KEY="tests-only-" + "s" * 50,
        WRAPPING_KEYS=f"test-wrapping:{_invented_key('w')}",
        CHAIN_KEYS=f"test-chain:{_invented_key('c')}",
        LOOKUP_KEY=_invented_key("l"),
    )


prepare()
