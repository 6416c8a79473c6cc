"""The benchmark on one engine, with a scratch registry's settings in the environment; a line of JSON a ratio."""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Iterator

import django

from tests.bench.measuring import Measured, forget_the_peak, peak_megabytes

HELD_IN_MEMORY = 10_000
"""Cases up to which importing is measured too: all documents and rows are then held at once."""
WITH_A_HISTORY = 100_000
"""Cases up to which each has its history: what saves, verifies or releases is measured only there."""


def main() -> None:
    """Import, count, save, release; writers and pages last, since they add cases and models."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--size", type=int, required=True)
    parser.add_argument("--part", action="append", help="only this part; repeatable")
    parser.add_argument(
        "--as-it-is", action="store_true", help="of the registry that is there; loads nothing"
    )
    options = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    from tests.bench import loading

    size: int = options.size
    imports = size <= HELD_IN_MEMORY and not options.as_it_is
    if imports:
        loading.prepare(size)
    elif not options.as_it_is:
        loading.load(size)
    for name, found in _parts(size, imports):
        if not options.part or name in options.part:
            for measured in _with_memory(name, size, found):
                print(json.dumps(measured.as_row()), flush=True)


def _parts(size: int, imports: bool) -> Iterator[tuple[str, Iterator[Measured]]]:
    """Each part of the benchmark by name, in the order in which they are measured."""
    from fixtures.generate import generate_cases
    from registry.models import Site
    from tests.bench.counting import counts
    from tests.bench.files import beside_files
    from tests.bench.importing import imported
    from tests.bench.long_page import long_page
    from tests.bench.pages import pages
    from tests.bench.ready import from_snapshots, while_saving
    from tests.bench.releasing import release
    from tests.bench.saving import save
    from tests.bench.writers import crowd, writers

    if imports:
        yield "import", imported(list(generate_cases(size, 1)))
    site = Site.objects.order_by("code").values_list("code", flat=True)[0]
    yield "counts", counts(size)
    yield "files", beside_files(size)
    yield "snapshots", from_snapshots(size)
    if size <= WITH_A_HISTORY:
        yield "saving", save(size, site)
        yield "release", release(size)
        yield "writers", writers(size, site)
        yield "crowd", crowd(size, site)
        yield "while saving", while_saving(size, site)
    yield "pages", pages(size)
    yield "long page", long_page(size, site)


def _with_memory(name: str, size: int, found: Iterator[Measured]) -> Iterator[Measured]:
    """What a part finds, and the most memory that this process held meanwhile."""
    from django.db import connection

    forget_the_peak()
    yield from found
    peak = peak_megabytes()
    yield Measured(f"MB {name}", connection.vendor, size, peak, None, "megabytes held at the most")


if __name__ == "__main__":
    main()
