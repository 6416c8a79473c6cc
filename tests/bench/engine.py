"""The benchmark on one engine, with a scratch registry's settings in the environment; a line of JSON a ratio."""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Iterator
from itertools import chain

import django

from tests.bench.measuring import Measured

HELD_IN_MEMORY = 10_000
"""Cases up to which importing is measured too: all documents and rows are then held at once."""


def main() -> None:
    """Generate, import, count, save, release; writers and pages last, since they add cases and models."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--size", type=int, required=True)
    parser.add_argument("--pages", action="store_true", help="the pages alone")
    parser.add_argument(
        "--as-it-is", action="store_true", help="of the registry that is there; imports nothing"
    )
    options = parser.parse_args()
    size = options.size
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    from deploy.demo import load_cases, load_places
    from deploy.local_settings import ensure_keys, migrate
    from fixtures.generate import generate_cases
    from fixtures.scenario import scenario
    from registry.models import Site
    from tests.bench.counting import counts
    from tests.bench.files import beside_files
    from tests.bench.importing import imported
    from tests.bench.long_page import long_page
    from tests.bench.pages import pages
    from tests.bench.ready import from_snapshots, while_saving
    from tests.bench.releasing import release
    from tests.bench.saving import save
    from tests.bench.writers import writers

    imports: Iterator[Measured] = iter(())
    if not options.as_it_is:
        migrate()
        ensure_keys()
        load_places(scenario(), size, 1)
        if size <= HELD_IN_MEMORY and not options.pages:
            imports = imported(list(generate_cases(size, 1)))
        else:
            load_cases(generate_cases(size, 1))
    site = Site.objects.order_by("code").values_list("code", flat=True)[0]
    found = chain(
        imports,
        counts(size),
        beside_files(size),
        from_snapshots(size),
        save(size, site),
        release(size),
        writers(size, site),
        while_saving(size, site),
        pages(size),
        long_page(size, site),
    )
    for measured in pages(size) if options.pages else found:
        print(json.dumps(measured.as_row()), flush=True)


if __name__ == "__main__":
    main()
