"""The benchmark on one engine, with a scratch registry's settings in the environment; a line of JSON a ratio."""

from __future__ import annotations

import argparse
import json
import os
from itertools import chain

import django


def main() -> None:
    """Generate, import, count, save."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--size", type=int, required=True)
    parser.add_argument("--pages", action="store_true", help="the pages instead of counts and saves")
    options = parser.parse_args()
    size = options.size
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    from deploy.demo import load_cases, load_places
    from deploy.local_settings import ensure_keys, migrate
    from fixtures.generate import generate_cases
    from fixtures.scenario import scenario
    from tests.bench.counting import counts
    from tests.bench.importing import imported
    from tests.bench.pages import pages
    from tests.bench.saving import save

    migrate()
    ensure_keys()
    load_places(scenario(), size, 1)
    if options.pages:
        load_cases(generate_cases(size, 1))
        found = pages(size)
    else:
        documents = list(generate_cases(size, 1))
        found = chain(imported(documents), counts(size), save(size, documents[0]["site"]))
    for measured in found:
        print(json.dumps(measured.as_row()), flush=True)


if __name__ == "__main__":
    main()
