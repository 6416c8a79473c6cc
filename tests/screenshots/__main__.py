"""Makes the pictures of the README; exits 1 where a page fails what must hold of it.

No page may overflow sideways at 320, 390 or 1440 px, squeeze a text to a letter a line, print a console message, lack
its caution, or fail axe, in light or in dark. Runs the demo in a folder of its own, on a free port of this machine.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import django

from tests.run import TESTS, chromium

WIDTHS = (320, 390, 1440)
THEMES = ("light", "dark")
TOUR = TESTS.parent / "deploy" / "tour"
SHOWN = {
    *((name, "light", 1440) for name in ("home", "case", "logging", "techniques", "devices")),
    *((name, "dark", 390) for name in ("case", "logging")),
}
"""The pictures that are kept for the README; with SCREENSHOTS=FOLDER all are written there, whole pages."""


def main() -> int:
    """Every page at every width in both themes; 0 where all hold what they must."""
    path = chromium()
    if path is None:
        print("Chromium is not installed; set CHROMIUM to its path if it is.")
        return 1
    with tempfile.TemporaryDirectory() as folder, served(folder) as (address, password):
        os.environ.update(
            VAR_DIR=folder, DJANGO_SETTINGS_MODULE="deploy.settings", DJANGO_ALLOW_ASYNC_UNSAFE="true"
        )
        django.setup()
        from tests.screenshots.looking import look_at_all

        wrong = look_at_all(address, password, path, TOUR)
    for sentence in wrong:
        print(sentence)
    print(f"{len(wrong)} things wrong" if wrong else "Every page holds what it must.")
    return 1 if wrong else 0


@contextmanager
def served(folder: str) -> Iterator[tuple[str, str]]:
    """The demo, served until the block is left; its address and the password of its accounts."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment: dict[str, Any] = {**os.environ, "VAR_DIR": folder, "PORT": str(port), "DATABASE_URL": ""}
    words = [sys.executable, "manage.py", "demo"]
    server = subprocess.Popen(
        words, cwd=TESTS.parent, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    address = f"http://127.0.0.1:{port}"
    try:
        _wait(address)
        settings = (Path(folder) / "local.env").read_text(encoding="utf-8")
        (password,) = (
            line.partition("=")[2] for line in settings.splitlines() if line.startswith("DEMO_PASSWORD=")
        )
        yield address, password
    finally:
        server.terminate()
        server.wait()


def _wait(address: str) -> None:
    for _ in range(300):
        try:
            urllib.request.urlopen(f"{address}/account/sign-in/", timeout=1)
            return
        except OSError:
            time.sleep(0.2)
    raise SystemExit("the demo did not answer within a minute")


if __name__ == "__main__":
    sys.exit(main())
