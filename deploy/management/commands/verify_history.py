"""Checking that the history is whole."""

from __future__ import annotations

from argparse import ArgumentParser, ArgumentTypeError
from typing import Any

from deploy.commands import Refusal, RegistryCommand
from deploy.tables import require_tables
from registry.verification import Broken, Witness, verified


def _witness(text: str) -> Witness:
    try:
        return Witness.of(text)
    except ValueError as error:
        raise ArgumentTypeError(str(error)) from None


class Command(RegistryCommand):
    """Check versions, journal, chain, guards, rows and keys."""

    help = (
        "Checks that versions, journal and chain are whole, the guards in place and every row that of its last "
        "version; names the first broken entry. The last line is the head of the chain: keep it elsewhere."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--witness",
            type=_witness,
            metavar="NUMBER:MAC",
            help="a head printed earlier, which must be in it",
        )

    def run(self, *, witness: Witness | None, **_: Any) -> None:
        """See the help."""
        require_tables()
        try:
            head = verified(witness)
        except Broken as broken:
            raise Refusal(f"The history is broken: {broken}.") from None
        self.say("The history is whole.")
        self.say(head)
