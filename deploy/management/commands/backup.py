"""Backing up the whole registry."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from deploy.commands import RegistryCommand
from deploy.tables import require_tables
from registry.recording.backing_up import back_up


class Command(RegistryCommand):
    """Back up the whole registry."""

    help = (
        "Writes the whole registry into one file, for either engine; never a key: keep these elsewhere. "
        "The last line is the head of the chain, by which `verify_history --witness` knows it again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE")

    def run(self, *, file: str, **_: Any) -> None:
        """See the help."""
        require_tables()
        head, cases = back_up(Path(file))
        self.say(f"backed up {cases} cases")
        self.say(head)
