"""P12: a data release beside the same columns written out by the database (`copying`); one process for each way.

Run as a module with a way and a folder, it does that once and prints seconds and the peak of its memory. Every class of
cases leaves here, however small, so that both ways write the same rows, which is asserted. A third way is the release
once more, with clocks around its parts: judging classes and hashing files are done by the release alone, so they are
told apart from the ratio, as is the whole.
"""

from __future__ import annotations

import datetime
import importlib
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import Any
from unittest import mock

from tests.bench.measuring import Measured

ADDRESS = "bench-release@north.example"
SINCE, UNTIL = "2000-01", "2026-10"
MEGABYTES = 150
WAYS = ("release", "copy", "parts")


def release(size: int) -> Iterator[Measured]:
    """The ratio of the times, and the peak of the memory."""
    from django.db import connection

    from registry.models import Site
    from registry.recording.sites import give_role
    from registry.terms import Role
    from tests.bench.copying import compared

    for site in Site.objects.all():
        give_role(ADDRESS, site, Role.QUALITY_OFFICER, by=None)
    connection.close()
    rounds = 3 if size <= 10_000 else 1
    told: dict[str, list[dict[str, float]]] = {way: [] for way in WAYS}
    for _ in range(rounds):
        with ExitStack() as folders:
            written = {way: Path(folders.enter_context(tempfile.TemporaryDirectory())) for way in WAYS}
            for way, folder in written.items():
                words = [sys.executable, "-m", "tests.bench.releasing", way, str(folder)]
                done = subprocess.run(words, stdout=subprocess.PIPE, text=True, check=True)
                told[way].append(json.loads(done.stdout.splitlines()[-1]))
            compared(written["copy"], written["release"] / "release")
    yield from _measured(connection.vendor, size, told)


def _measured(engine: str, size: int, told: dict[str, list[dict[str, float]]]) -> Iterator[Measured]:
    def ratio(way: str, *parts: str) -> float:
        """The median over the rounds, of the whole way or of some of its parts."""
        return statistics.median(
            sum(one[part] for part in parts or ("seconds",)) / other["seconds"]
            for one, other in zip(told[way], told["copy"], strict=True)
        )

    peak = max(one["megabytes"] for one in told["release"])
    detail = (
        f"release {told['release'][-1]['seconds']:.1f} s, {told['release'][-1]['rows']:.0f} cases, "
        f"copy {told['copy'][-1]['seconds']:.2f} s, {len(told['copy'])} rounds; peak {peak:.0f} MB, "
        f"copy {max(one['megabytes'] for one in told['copy']):.0f} MB"
    )
    in_words = ", ".join(f"{part} {ratio('parts', part):.2f}" for part in PARTS)
    alike = [part for part in PARTS if part not in OF_A_RELEASE_ALONE]
    yield Measured("P12", engine, size, ratio("parts", *alike), 5.0, f"in copies: {in_words}")
    yield Measured("P12 whole", engine, size, ratio("release"), None, detail)
    yield Measured("P12 memory", engine, size, peak / MEGABYTES, 1.0, f"peak {peak:.0f} MB")


PARTS = ("judging", "reading", "policy", "layout", "writing", "hashing")
"""Judging is all of the first reading; layout is that of tables, with the counting rules."""
OF_A_RELEASE_ALONE = ("judging", "hashing")


class _Clocks:
    """The seconds of each part, those of what runs inside it left out, but for what runs inside judging."""

    def __init__(self) -> None:
        self.seconds = dict.fromkeys(PARTS, 0.0)
        self._running: list[str] = []
        self._since = 0.0

    def around(self, part: str, work: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*arguments: Any, **named: Any) -> Any:
            self._turn([*self._running, "judging" if "judging" in self._running else part])
            try:
                return work(*arguments, **named)
            finally:
                self._turn(self._running[:-1])

        return timed

    def _turn(self, running: list[str]) -> None:
        now = time.perf_counter()
        if self._running:
            self.seconds[self._running[-1]] += now - self._since
        self._running, self._since = running, now


def _parts(folder: Path, clocks: _Clocks) -> int:
    from casebook import release
    from registry.deidentify import reading

    with ExitStack() as patched:
        for part, holder, name in (
            ("judging", release, "judged"),
            ("reading", reading.CaseRows, "__init__"),
            ("reading", reading.CaseRows, "case"),
            ("policy", reading, "deidentified"),
            ("layout", release, "rows_of"),
            ("writing", release, "_write_tables"),
            ("hashing", release, "write_manifest"),
        ):
            timed = clocks.around(part, getattr(holder, name))
            patched.enter_context(mock.patch.object(holder, name, timed))
        return _release(folder)


def _release(folder: Path) -> int:
    from casebook.disclosure import period_of
    from casebook.recording import make_release
    from registry.models import Person, Site

    period = period_of(SINCE, UNTIL, datetime.date(2026, 12, 1))
    by = Person.objects.get(email=ADDRESS)
    sites = list(Site.objects.all())
    for site in sites:
        site.smallest_class = 1  # not saved
    receipt = make_release(folder / "release", sites=sites, period=period, purpose="bench", by=by)
    return receipt.released


def main() -> None:
    """One way, once."""
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    way, folder = sys.argv[1], Path(sys.argv[2])
    importlib.import_module("casebook.recording")
    clocks = _Clocks()
    copied = importlib.import_module("tests.bench.copying").copied
    ways: dict[str, Callable[[Path], int]] = {
        "release": _release,
        "copy": partial(copied, since=f"{SINCE}-01", until=f"{UNTIL}-31"),
        "parts": partial(_parts, clocks=clocks),
    }
    start = time.perf_counter()
    rows = ways[way](folder)
    seconds = time.perf_counter() - start
    print(json.dumps({"seconds": seconds, "megabytes": _peak(), "rows": rows, **clocks.seconds}))


def _peak() -> float:
    """Megabytes at the most; `getrusage` would count those of the process that started this one as well."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    (kilobytes,) = (line.split()[1] for line in lines if line.startswith("VmHWM:"))
    return int(kilobytes) / 1024


if __name__ == "__main__":
    main()
