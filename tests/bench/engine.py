"""The benchmark on one engine, with a scratch registry's settings in the environment; a line of JSON a ratio."""

from __future__ import annotations

import argparse
import json
import os

import django


def main() -> None:
    """Generate, import, count, save."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--size", type=int, required=True)
    size = parser.parse_args().size
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    from deploy.demo import load_places
    from deploy.local_settings import ensure_keys, migrate
    from fixtures.generate import generate_cases
    from fixtures.scenario import scenario
    from tests.bench.counting import counts
    from tests.bench.importing import imported
    from tests.bench.saving import save

    migrate()
    ensure_keys()
    load_places(scenario(), size, 1)
    documents = list(generate_cases(size, 1))
    for measured in (*imported(documents), *counts(size), *save(size, documents[0]["site"])):
        print(json.dumps(measured.as_row()), flush=True)


if __name__ == "__main__":
    main()
