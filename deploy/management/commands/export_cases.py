"""Exporting complete case documents."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from deploy.commands import RegistryCommand
from registry.access import MAY_EXPORT, person_acting, scope_of_command_line
from registry.models import Site
from registry.recording.exports import export_cases


class Command(RegistryCommand):
    """Export cases, identifying fields included."""

    help = "Writes complete documents of submitted and locked cases, one a line, by site and id; journalled."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--out", required=True, metavar="FILE.jsonl")
        parser.add_argument(
            "--site", action="append", default=[], metavar="CODE", help="only of this site; repeatable"
        )
        parser.add_argument("--as", dest="email", metavar="EMAIL", default="", help="the member who does it")

    def run(self, *, out: str, site: list[str], email: str, **_: Any) -> None:
        """See the help."""
        scope = scope_of_command_line().narrowed(site)
        sites = Site.objects.filter(code__in=scope.codes())
        by = person_acting(email, MAY_EXPORT, sites) if email else None
        count = export_cases(Path(out), scope=scope, by=by)
        self.say(f"exported {count}")
