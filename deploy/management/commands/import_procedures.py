"""Importing monthly returns."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from deploy.commands import RegistryCommand, existing_file, rows_of_csv, tally_line
from deploy.local_settings import ensure_keys
from registry.recording.devices import import_procedures
from registry.recording.tables_of_text import RETURN_COLUMNS


class Command(RegistryCommand):
    """Import procedures done and what is reported, by site and month."""

    help = (
        "CSV site,month,procedures,reporting,confirmed_by: replaces the return of each site and month in it."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--check", action="store_true", help="say what would be done; write nothing")

    def run(self, *, file: str, check: bool, **_: Any) -> None:
        """See the help."""
        rows = rows_of_csv(existing_file(file), RETURN_COLUMNS)
        ensure_keys()
        self.say(tally_line(import_procedures(rows, check_only=check, by=None), check))
