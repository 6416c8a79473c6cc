"""Wrapping every data key anew."""

from __future__ import annotations

from typing import Any

from deploy.commands import RegistryCommand
from deploy.tables import require_tables
from registry.recording.overwriting import overwritten
from registry.recording.rewrapping import rotate_keys


class Command(RegistryCommand):
    """Wrap every key of cases and drafts under the current wrapping key."""

    help = (
        "Wraps every key of cases and drafts anew under the first of WRAPPING_KEYS; repeatable. Afterwards the "
        "older wrapping keys are needed only for backups made before."
    )

    def run(self, **_: Any) -> None:
        """See the help."""
        require_tables()
        done = rotate_keys()
        if done and (unfinished := overwritten()):
            self.remark(f"Keys as they were wrapped before may still be on the disk: {unfinished}.")
        self.say(f"{done} keys wrapped anew")
