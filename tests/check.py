"""Checks the repository itself, for `make check`: style, types, imports, deployment, migrations, lock files.

Writes nothing and needs no database: Django is given a run-time folder that is thrown away.
"""

from __future__ import annotations

import base64
import json
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

ROOT = Path(__file__).parent.parent
PROGRAMS = Path(sys.executable).parent
LOCK_FILES = sorted((ROOT / "deploy" / "requirements").glob("*.txt"))

# A lock file names what to install, never where it came from: that is the installing machine's own affair.
SOURCE_IN_A_LOCK_FILE = re.compile(r"https?://|file:|--(?:find-links|index-url|extra-index-url|trusted-host)")
MACHINE_PATH = re.compile(r"(?<![\w./-])/(?:root|home|Users|work)/[\w.-]")

# An installation in earnest, as far as settings can tell; the keys protect nothing.
KEY = base64.b64encode(bytes(range(32))).decode()
PRODUCTION = {
    "PRODUCTION": "yes",
    "ALLOWED_HOSTS": "registry.example",
    "SECRET_KEY": base64.b64encode(bytes(range(64))).decode(),
    "WRAPPING_KEYS": f"w1:{KEY}",
    "CHAIN_KEYS": f"c1:{KEY}",
    "LOOKUP_KEY": KEY,
}


class Failed(Exception):
    """A check that did not pass; its text is what the reader needs to put it right."""


def run(*command: str | Path, **environment: str) -> str:
    """What the command printed; Failed with all of it where the command failed."""
    done = subprocess.run(
        [str(part) for part in command],
        cwd=ROOT,
        env={**os.environ, **environment},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode:
        raise Failed(done.stdout.strip())
    return done.stdout


def style() -> None:
    """The rules of ruff chosen in pyproject.toml."""
    run(sys.executable, "-m", "ruff", "check", "--output-format", "concise", ".")


def layout() -> None:
    """`ruff format` puts right what this finds."""
    run(sys.executable, "-m", "ruff", "format", "--check", "--output-format", "concise", ".")


def types() -> None:
    """Strict for the pure modules."""
    run(sys.executable, "-m", "mypy")


def import_contracts() -> None:
    """Who may know whom."""
    run(PROGRAMS / "lint-imports")


def deployment() -> None:
    """Django's own checks of an installation in earnest."""
    run(sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING", **PRODUCTION)


def migrations() -> None:
    """Every change of a model has its migration."""
    run(sys.executable, "manage.py", "makemigrations", "--check", "--dry-run")


def _refuse_lines(pattern: re.Pattern[str], files: Iterator[Path] | list[Path]) -> None:
    """Failed with file and line of each match; a file that is not text has none."""
    found = []
    for file in files:
        lines = file.read_text(encoding="utf-8", errors="ignore").splitlines()
        name = file.relative_to(ROOT)
        found += [
            f"{name}:{number}: {line[:160]}" for number, line in enumerate(lines, 1) if pattern.search(line)
        ]
    if found:
        raise Failed("\n".join(found))


def lock_files_name_no_source() -> None:
    """No host name, folder or index in a lock file."""
    if not LOCK_FILES:
        raise Failed("There is no lock file in deploy/requirements/.")
    _refuse_lines(SOURCE_IN_A_LOCK_FILE, LOCK_FILES)


def no_machine_path() -> None:
    """No tracked file names a folder of the machine it was written on."""
    names = run("git", "ls-files", "-z").split("\0")
    vendored = "registry/static/vendor/"
    files = (ROOT / name for name in names if name and not name.startswith(vendored))
    _refuse_lines(MACHINE_PATH, (file for file in files if file.is_file()))


def advisories() -> str | None:
    """Known weaknesses of the pinned libraries; says so where no source of advisories can be reached."""
    command = [sys.executable, "-m", "pip_audit", "--disable-pip", "--require-hashes", "--timeout", "10"]
    for lock_file in LOCK_FILES:
        command += ["-r", str(lock_file)]
    done = subprocess.run([*command, "-f", "json"], cwd=ROOT, capture_output=True, text=True, check=False)
    try:
        libraries = json.loads(done.stdout)["dependencies"]
    except (ValueError, KeyError):
        return "no source of advisories could be reached"
    if all("skip_reason" in library for library in libraries):
        return "no source of advisories could be reached"
    found = [
        f"{library['name']} {library['version']}: {weakness['id']}, mended in {weakness['fix_versions']}"
        for library in libraries
        for weakness in library.get("vulns", [])
    ]
    if found:
        raise Failed("\n".join(found))
    return None


CHECKS: tuple[Callable[[], str | None], ...] = (
    lock_files_name_no_source,
    no_machine_path,
    style,
    layout,
    import_contracts,
    types,
    deployment,
    migrations,
    advisories,
)


def main() -> int:
    """Every check, whether or not one before it failed; 0 where all passed."""
    failed = False
    with tempfile.TemporaryDirectory(prefix="ladderbook-check-") as folder:
        os.environ["VAR_DIR"] = folder
        os.environ.pop("DATABASE_URL", None)
        for check in CHECKS:
            name = check.__name__.replace("_", " ")
            try:
                remark = check()
                print(f"{name}: {remark or 'ok'}", flush=True)
            except Failed as problem:
                failed = True
                print(f"{name}: FAILED\n{problem}", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
