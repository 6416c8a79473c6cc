"""Invented cases at any size, as documents or straight into the registry."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from deploy.commands import Refusal, RegistryCommand, tally_line
from deploy.demo import load_cases, load_places
from deploy.local_settings import ensure_keys, migrate
from fixtures.generate import generate_cases
from fixtures.scenario import scenario
from registry.canonical import write
from registry.documents import completed
from registry.recording.files import put_in_place

MOST = 10_000_000
EVERY = 10_000


class Command(RegistryCommand):
    """Generate invented cases."""

    help = "Invented cases, the same for the same number, seed and sites; without --out they are imported."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--cases", required=True, type=int, metavar="N")
        parser.add_argument("--seed", required=True, type=int, metavar="S")
        parser.add_argument("--site", action="append", default=[], metavar="CODE", help="repeatable")
        parser.add_argument("--out", metavar="FILE.jsonl")

    def run(self, *, cases: int, seed: int, site: list[str], out: str | None, **_: Any) -> None:
        """See the help."""
        if not 1 <= cases <= MOST:
            raise Refusal(f"--cases is {cases}; it can be 1 to {MOST}.")
        if len(set(site)) != len(site):
            raise Refusal("--site names one site twice.")
        documents = generate_cases(cases, seed, site or None)
        if out is not None:
            path = Path(out)
            if not path.parent.is_dir():
                raise Refusal(f"There is no folder {path.parent}.")
            with put_in_place(path) as file:
                for document in documents:
                    file.write(write(completed(document)).encode() + b"\n")
            self.say(f"wrote {cases}")
            return
        migrate()
        ensure_keys()
        if not site:
            load_places(scenario(), cases, seed)
        tally = load_cases(documents, self._progress)
        if tally.batch is not None:
            self.say(f"batch {tally.batch}")
        self.say(tally_line(tally, check_only=False))

    def _progress(self, done: int) -> None:
        if done % EVERY == 0:
            self.remark(f"{done} checked")
