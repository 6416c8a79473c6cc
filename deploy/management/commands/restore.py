"""Restoring a backup."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings

from deploy.commands import RegistryCommand, existing_file
from deploy.local_settings import migrate
from deploy.tables import has_tables, require_tables
from registry.recording.backup_reading import inspected
from registry.recording.restoring import restore


class Command(RegistryCommand):
    """Restore a backup into an empty registry."""

    help = (
        "Restores a backup into a registry without sites or journal entries, of either engine, that has the same "
        "keys; what the list of erasures names is erased again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE")

    def run(self, *, file: str, **_: Any) -> None:
        """See the help."""
        path = existing_file(file)
        heading = inspected(path)
        if not has_tables():
            migrate()
        require_tables()
        restored = restore(path, heading)
        if restored.erased_again is None:
            self.remark(
                f"There is no list of erasures at {settings.ERASURES_FILE}: whoever was erased after "
                f"{heading.made_at} is back. Find the list and erase them again."
            )
        elif restored.erased_again:
            self.say(f"erased again {restored.erased_again} cases, by the list of erasures")
        self.say(f"restored {restored.cases} cases of the registry {heading.registry}")
        self.say(restored.head)
