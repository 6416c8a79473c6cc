"""The first step of a real registry: tables, keys, a site and its administrator."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from deploy.commands import RegistryCommand
from deploy.local_settings import ensure_keys, migrate
from registry.recording.sites import add_site, give_role, invite
from registry.terms import Role


class Command(RegistryCommand):
    """Set up a registry, or add a site to one."""

    help = "Makes the tables and keys where there are none, adds a site and its administrator; repeatable."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--site", required=True, metavar="CODE", help="the site's code, such as north")
        parser.add_argument("--name", required=True, help="the site's name")
        parser.add_argument(
            "--admin", required=True, metavar="EMAIL", help="the address of its administrator"
        )
        parser.add_argument("--time-zone", default="UTC", help="the site's time zone, such as Europe/Oslo")

    def run(self, *, site: str, name: str, admin: str, time_zone: str, **_: Any) -> None:
        """See the help."""
        migrate()
        ensure_keys()
        place = add_site(site, name, time_zone=time_zone, by=None)
        person = give_role(admin, place, Role.ADMINISTRATOR, by=None)
        self.say(f"The site {place.code} ({place.name}) is set up; {person.email} is its administrator.")
        if person.has_usable_password():
            self.say("The account has been taken up already; no invitation was made.")
        else:
            secret = invite(person, by=None)
            self.say(
                f"Invitation, to be opened once within two weeks to choose a password: /invitation/{secret}"
            )
