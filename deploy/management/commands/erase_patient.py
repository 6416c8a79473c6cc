"""Erasing a patient."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.db import connection

from deploy.commands import Refusal, RegistryCommand
from deploy.tables import require_tables
from registry.recording.erasure import erase_patient

_ELSEWHERE = {
    "sqlite": "every backup and every copy or disk snapshot of the database file made before now",
    "postgresql": "every backup, write-ahead log archive, standby server and disk snapshot made before now",
}


class Command(RegistryCommand):
    """Erase the identifying fields of a patient's cases."""

    help = (
        "Erases a case's identifying fields and free text, and those of every case and draft of the site with the "
        "same local reference. The rest of the cases stays and is counted."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--site", required=True, metavar="CODE")
        parser.add_argument("--id", required=True, metavar="ID", help="the id of one of the patient's cases")

    def run(self, *, site: str, id: str, **_: Any) -> None:
        """See the help."""
        require_tables()
        erasure = erase_patient(site, id)
        if erasure.cases:
            drafts = f", and {erasure.drafts} drafts" if erasure.drafts else ""
            self.say(f"erased at {site}: {', '.join(erasure.cases)}{drafts}")
        elif erasure.drafts:
            self.say(f"the case {id} of {site} was erased before; {erasure.drafts} drafts were erased now")
        else:
            self.say(f"the case {id} of {site} is erased already")
        self.say(f"Still holding the keys: {_ELSEWHERE[connection.vendor]}.")
        self.say("Files written by export_cases hold the texts themselves.")
        if erasure.unfinished:
            raise Refusal(
                f"The erasure is done, but not on the disk: {erasure.unfinished}. Run the same command again "
                "when nobody else is at work."
            )
