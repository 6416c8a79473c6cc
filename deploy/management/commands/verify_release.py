"""Verifying a data release by its manifest."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from casebook.package import PackageBroken, verified
from deploy.commands import Refusal, RegistryCommand


class Command(RegistryCommand):
    """Verify a release; asks no database."""

    help = (
        "Compares every file of a release with its manifest: none changed, missing or added. Prints the manifest's "
        "own SHA-256, to be compared with the one printed when the release was made."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", metavar="DIR")

    def run(self, *, folder: str, **_: Any) -> None:
        """See the help."""
        try:
            files, manifest = verified(Path(folder))
        except PackageBroken as broken:
            raise Refusal(f"Not as it was released: {broken}.") from None
        self.say(f"{files} files match the manifest")
        self.say(f"manifest {manifest}")
