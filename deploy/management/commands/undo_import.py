"""Taking an import back."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from deploy.commands import Refusal, RegistryCommand
from registry.recording.undoing import undo_import


class Command(RegistryCommand):
    """Take an import back, all or nothing."""

    help = (
        "Withdraws the cases an import made and restores those it amended; refused where any changed since."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("batch", metavar="BATCH", type=int)
        parser.add_argument("--reason", required=True, metavar="TEXT")

    def run(self, *, batch: int, reason: str, **_: Any) -> None:
        """See the help."""
        if not reason.strip():
            raise Refusal("--reason needs a reason, in words.")
        withdrawn, restored = undo_import(batch, reason=reason.strip(), by=None)
        self.say(f"withdrawn {withdrawn}, restored {restored}")
