"""Importing monthly device use."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from deploy.commands import RegistryCommand, existing_file, rows_of_csv, tally_line
from deploy.local_settings import ensure_keys
from registry.recording.devices import import_device_use
from registry.recording.tables_of_text import DEVICE_USE_COLUMNS


class Command(RegistryCommand):
    """Import the units opened, by site, model and month."""

    help = "CSV site,device_model,month,uses: replaces what stood for each site and month in it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--check", action="store_true", help="say what would be done; write nothing")

    def run(self, *, file: str, check: bool, **_: Any) -> None:
        """See the help."""
        rows = rows_of_csv(existing_file(file), DEVICE_USE_COLUMNS)
        ensure_keys()
        self.say(tally_line(import_device_use(rows, check_only=check, by=None), check))
