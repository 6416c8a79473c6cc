"""Importing the device catalogue."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from deploy.commands import RegistryCommand, existing_file, rows_of_csv, tally_line
from deploy.local_settings import ensure_keys
from registry.recording.devices import import_catalogue
from registry.recording.tables_of_text import CATALOGUE_COLUMNS


class Command(RegistryCommand):
    """Import makers and device models."""

    help = "CSV maker,model,name,class: rows replace by model."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--check", action="store_true", help="say what would be done; write nothing")

    def run(self, *, file: str, check: bool, **_: Any) -> None:
        """See the help."""
        rows = rows_of_csv(existing_file(file), CATALOGUE_COLUMNS)
        ensure_keys()
        self.say(tally_line(import_catalogue(rows, check_only=check, by=None), check))
