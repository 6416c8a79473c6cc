"""Making a de-identified data release."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.utils import timezone

from casebook.disclosure import ReleaseRefused, period_of
from casebook.recording import head_of_the_journal, make_release
from casebook.release import formats_of
from deploy.commands import Refusal, RegistryCommand
from deploy.local_settings import ensure_keys
from registry.access import MAY_RELEASE, person_acting, scope_of_command_line
from registry.models import Site


class Command(RegistryCommand):
    """Release de-identified cases."""

    help = (
        "Writes the cases of sites and whole months as a de-identified release: data files, codebook, manifest and "
        "disclosure report, in a new folder. The last line is the journal's head, to be kept outside."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--site", action="append", required=True, metavar="CODE", help="repeatable")
        parser.add_argument("--since", required=True, metavar="D", help="YYYY-MM-DD or YYYY-MM")
        parser.add_argument("--until", required=True, metavar="D", help="YYYY-MM-DD or YYYY-MM; included")
        parser.add_argument("--purpose", required=True, metavar="TEXT", help="kept inside, sealed")
        parser.add_argument("--out", required=True, metavar="DIR", help="a new or empty folder")
        parser.add_argument(
            "--as", dest="email", required=True, metavar="EMAIL", help="the member who does it"
        )
        parser.add_argument("--format", dest="formats", default="csv", metavar="csv")

    def run(
        self,
        *,
        site: list[str],
        since: str,
        until: str,
        purpose: str,
        out: str,
        email: str,
        formats: str,
        **_: Any,
    ) -> None:
        """See the help."""
        ensure_keys()
        try:
            formats_of(formats)
            period = period_of(since, until, timezone.localdate())
            scope = scope_of_command_line().narrowed(site)
            sites = list(Site.objects.filter(code__in=scope.codes()).order_by("code"))
            by = person_acting(email, MAY_RELEASE, sites)
            release = make_release(Path(out), sites=sites, period=period, purpose=purpose, by=by)
        except ReleaseRefused as refused:
            raise Refusal(f"Nothing was released: {refused}.") from None
        self.say(f"release {release.code}: {release.released} cases, {release.suppressed} suppressed")
        self.say(f"manifest {release.manifest}")
        self.say(head_of_the_journal())
